// SPDX-License-Identifier: MIT
// Sound files that are cut short, of which a part is wanted.
#pragma once

#include <filesystem>

#include "audio/stream.hpp"

namespace railtap::audio {

/// The same as open_sound_file, but a file whose header claims more than is there is read up to
/// where it ends, with a note, and refused only there.
[[nodiscard]] Source open_cut_sound_file(const std::filesystem::path& path);

}  // namespace railtap::audio
