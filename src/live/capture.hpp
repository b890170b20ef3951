// SPDX-License-Identifier: MIT
// From an input to a WAV file that is readable while it grows, with everything that goes wrong
// noted.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "audio/device.hpp"
#include "files/atomic_file.hpp"
#include "report/capture.hpp"
#include "units/error.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

/// Thrown where the disk has no more room; the file ends with its last whole frame.
class DiskFull : public Error {
 public:
  using Error::Error;
};

/// What the recording is to be: PCM samples in a WAV file.
struct CaptureFileSpec {
  std::filesystem::path path;  ///< ends in .wav
  Hertz rate{48000.0};
  int channels = 2;
  int bits = 24;  ///< 16, 24 or 32
  files::Overwrite overwrite = files::Overwrite::refuse;
};

/// A recording on its way to the disk.
///
/// Unlike every other output, it has its final name from the start: a recording can't be made
/// again, every second of it is of use by itself, and after a crash it must lie where the person
/// expects it. That it was broken off is written in its sidecar. The header is put right after
/// every block, so a killed process leaves all blocks but the one it was writing; `keep` has the
/// disk itself take what was written, for when the power fails.
class CaptureFile {
 public:
  /// \throws Error for another ending than .wav, other bits, a name that is taken (unless allowed),
  /// or a folder that cannot be written
  explicit CaptureFile(const CaptureFileSpec& spec);
  ~CaptureFile();
  CaptureFile(const CaptureFile&) = delete;
  CaptureFile& operator=(const CaptureFile&) = delete;

  /// Appends whole frames. To 16 bits it rounds with triangular dither, unless the codes have no
  /// more bits than that. \param codes interleaved, left-justified in 32 bits \throws DiskFull
  /// where they do not all fit; then as many are in the file as did
  void write(std::span<const std::int32_t> codes);

  /// Asks the disk to take what was written. May take long on a slow one.
  void keep();

  [[nodiscard]] std::int64_t frames() const;  ///< in the file
  [[nodiscard]] std::int64_t room() const;    ///< frames until a WAV file can grow no more

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// The state, for a level meter: since the last report.
struct CaptureProgress {
  Seconds recorded{0.0};
  std::vector<std::optional<Dbfs>> peaks;  ///< a channel each; none for zeros
  bool clipped_now = false;                ///< full scale was reached since the last time
  std::int64_t places_with_losses = 0;     ///< so far
};

/// Where to record to, for how long, and what to call meanwhile.
struct CaptureJob {
  CaptureFileSpec file;           ///< rate and channels are those of the input
  std::optional<Seconds> length;  ///< none: until `stop` returns true
  std::function<bool()> stop;     ///< asked every tenth of a second
  std::function<void(const CaptureProgress&)> progress;  ///< called as often; may be absent
};

/// Records until the length is reached, the person stops it, the input vanishes, or the disk is
/// full; `end` of the document is which. The sidecar, FILE.json, is there from the start, with
/// `complete` false; it is brought up to date when samples are lost and at the end.
/// \throws Error where the file cannot be begun
[[nodiscard]] report::CaptureDocument capture(audio::InputStream& input, const CaptureJob& job);

/// The sidecar's name.
[[nodiscard]] std::filesystem::path sidecar_of(const std::filesystem::path& recording);

}  // namespace railtap::live
