// SPDX-License-Identifier: MIT
// A sound input as something to watch, and a recording that a command makes itself before it
// measures it.
#include "command/live_input.hpp"

#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "files/atomic_file.hpp"
#include "live/capture.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {

// Opening an input to watch it.

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

// A recording that a command makes itself.

namespace {

using report::CaptureEnd;

void require_whole(const report::CaptureDocument& document) {
  if (document.end == CaptureEnd::interrupt) throw Interrupted();
  if (document.end == CaptureEnd::device_vanished) {
    throw Error("the input '" + document.device + "' vanished or fell silent", document.file,
                "check its plug and try again");
  }
  if (document.end == CaptureEnd::disk_full)
    throw Error("the disk is full", document.file, "make room and try again");
}

}  // namespace

void add_live_options(Command& command, LiveOptions& options) {
  command.quantity("--rate", options.input.rate,
                   "Live: samples per second (default: 48 kHz where the input takes it)");
  command.number("--channels", options.input.channels, "Live: channels (default: 2, or 1)");
  command.text("--keep", options.keep, "Live: keep the recording, as NAME.wav").called("FILE");
}

LiveRecording::LiveRecording(const LiveOptions& options, files::Overwrite overwrite)
    : overwrite_(overwrite) {
  if (options.keep.empty()) {
    folder_.emplace();
    path_ = folder_->path() / "recording.wav";
    return;
  }
  path_ = options.keep;
  const auto sidecar = live::sidecar_of(path_);
  if (overwrite == files::Overwrite::refuse && std::filesystem::exists(sidecar))
    throw Error("already exists", sidecar.string(), "choose another name, or give --force");
}

void LiveRecording::record(audio::InputStream& input, Seconds length) {
  live::CaptureJob job;
  job.file.path = path_;
  job.file.overwrite = overwrite_;
  job.length = length;
  job.stop = files::interrupted;
  std::cerr << "Recording from '" << input.device().name << "' for " << format_quantity(length, 3)
            << "; Ctrl-C ends it.\n";
  require_whole(live::capture(input, job));
}

}  // namespace railtap::command
