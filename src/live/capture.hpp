// SPDX-License-Identifier: MIT
// The capture loop: from an input to a file, with everything that goes wrong noted.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <vector>

#include "audio/device.hpp"
#include "live/capture_file.hpp"
#include "report/capture.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

/// How it stands, for a level meter: since the last time it was told.
struct CaptureProgress {
  Seconds recorded{0.0};
  std::vector<std::optional<Dbfs>> peaks;  ///< a channel each; none for zeros
  bool clipped_now = false;                ///< full scale was reached since the last time
  std::int64_t places_with_losses = 0;     ///< so far
};

/// Where to record to, for how long, and whom to ask and tell meanwhile.
struct CaptureJob {
  CaptureFileSpec file;           ///< rate and channels are those of the input
  std::optional<Seconds> length;  ///< none: until `stop` says so
  std::function<bool()> stop;     ///< asked every tenth of a second
  std::function<void(const CaptureProgress&)> progress;  ///< called as often; may be absent
};

/// Records until the length is reached, the person stops it, the input vanishes, or the disk is
/// full; `end` of the document says which. The sidecar, FILE.json, is there from the start, with
/// `complete` false; it is brought up to date when samples are lost and at the end.
/// \throws Error where the file cannot be begun
[[nodiscard]] report::CaptureDocument capture(audio::InputStream& input, const CaptureJob& job);

/// The sidecar's name.
[[nodiscard]] std::filesystem::path sidecar_of(const std::filesystem::path& recording);

}  // namespace railtap::live
