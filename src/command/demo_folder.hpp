// SPDX-License-Identifier: MIT
// The demo's folder: tones, recordings and results, each written whole or not at all.
#pragma once

#include <filesystem>
#include <string>

#include "audio/stream.hpp"
#include "command/recorded.hpp"
#include "files/atomic_file.hpp"
#include "signal/tone.hpp"

namespace railtap::command {

/// A folder with tones/, captures/ and results/.
struct DemoFolder {
  std::filesystem::path root;
  files::Overwrite overwrite = files::Overwrite::refuse;

  /// Where files of this name lie: tones and captures are WAV, results JSON.
  [[nodiscard]] std::filesystem::path tone(const std::string& name) const;
  [[nodiscard]] std::filesystem::path capture(const std::string& name) const;
  [[nodiscard]] std::filesystem::path result(const std::string& name) const;
};

/// Creates the folders. Files in them may be overwritten from then on, since the folder is known to
/// be the demo's own. \throws Error where the folder holds something and `overwrite` refuses, or it
/// can't be created
[[nodiscard]] DemoFolder open_demo_folder(const std::filesystem::path& root,
                                          files::Overwrite overwrite);

/// Renders a track into tones/, 24-bit WAV at 48 kHz. \returns its path
std::filesystem::path write_tone(const DemoFolder& folder, const signal::Track& track);

/// Writes a recording into captures/. \returns its path
std::filesystem::path write_capture(const DemoFolder& folder, const std::string& name,
                                    const audio::Source& recording);

/// Measures a capture, with its document left in results/.
[[nodiscard]] Recorded analyze_capture(const DemoFolder& folder, const std::string& name,
                                       const judge::Limits& limits);

}  // namespace railtap::command
