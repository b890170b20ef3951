// SPDX-License-Identifier: MIT
// Opening an input to watch it.
#include "command/watched_input.hpp"

#include <memory>

namespace railtap::command {

live::WatchJob watched_input(audio::InputRequest request) {
  constexpr Seconds soon{0.02};  // from sound to callback
  request.latency = soon;
  auto stream = std::make_shared<audio::InputStream>(request);
  live::WatchJob job;
  job.name = stream->device().name;
  job.device = true;
  job.losses = [stream] { return static_cast<std::int64_t>(stream->continuity().gaps().size()); };
  job.source = audio::source_of(stream);
  return job;
}

}  // namespace railtap::command
