// SPDX-License-Identifier: MIT
// A sound input as something to watch, and a recording that a command makes itself before it
// measures it.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "audio/device.hpp"
#include "files/atomic_file.hpp"
#include "live/watch.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// A sound input as something to watch.

/// Opens the input for figures that come soon after the sound. \throws Error where it cannot
[[nodiscard]] live::WatchJob watched_input(audio::InputRequest request);

// A recording that a command makes itself, for a while, before it measures it.

class Command;

/// What to record from, and where to.
struct LiveOptions {
  audio::InputRequest input;
  std::string keep;  ///< the recording's name; empty: it is removed again
};

/// --rate, --channels and --keep. Whoever calls has --device already.
void add_live_options(Command& command, LiveOptions& options);

/// A recording on the disk. Unless it is to be kept, it goes when this does.
class LiveRecording {
 public:
  /// Names the recording. \throws Error where a kept one's name is taken, or no folder for one that
  /// is not kept can be made
  LiveRecording(const LiveOptions& options, files::Overwrite overwrite);

  /// Records, with its sidecar. \throws Error where the input cannot be opened, vanishes, or the
  /// disk is full; Interrupted
  void record(audio::InputStream& input, Seconds length);

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::optional<files::TemporaryFolder> folder_;  // none when kept
  std::filesystem::path path_;
  files::Overwrite overwrite_;
};

}  // namespace railtap::command
