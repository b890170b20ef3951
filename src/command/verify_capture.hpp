// SPDX-License-Identifier: MIT
// A recording of the verification tracks, cut by its markers and measured part by part.
#pragma once

#include <cstdint>
#include <filesystem>
#include <vector>

#include "audio/stream.hpp"
#include "command/recorded.hpp"
#include "judge/verification.hpp"
#include "report/verification.hpp"

namespace railtap::command {

/// One recording: which parts of the tracks it holds, and what they say in each of its channels.
struct VerifyCapture {
  report::VerifiedFile file;
  std::vector<judge::ChannelMeasurements> channels;
  Provenance provenance;
};

/// Finds the markers of every channel, then reads the file again for the parts that they announce;
/// of parts that are there several times, the last whole one. Memory is that of these parts,
/// however long the recording is. A channel without markers is cut by those of the others. \param
/// first_channel number of the file's first channel \throws Error where the file cannot be read,
/// holds samples that are no numbers, or holds signal but no marker; Interrupted
[[nodiscard]] VerifyCapture measure_verification(const std::filesystem::path& path,
                                                 int first_channel);

}  // namespace railtap::command
