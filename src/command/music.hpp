// SPDX-License-Identifier: MIT
// Music and speech in a recording: a second look at the file, where the first found no steady tone.
#pragma once

#include <filesystem>

#include "command/recorded.hpp"

namespace railtap::command {

/// Reads the file again and adds what its peaks tell to each channel without a steady tone, and
/// what the chain added to the track where one is given. Does nothing where all is tones or
/// silence. \param track the file that was played; empty where it is not known Throws Error for
/// what cannot be read or does not go with the recording, and Interrupted.
void look_at_programme(Recorded& recorded, const std::filesystem::path& path,
                       const judge::Limits& limits, const std::filesystem::path& track);

}  // namespace railtap::command
