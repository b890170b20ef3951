// SPDX-License-Identifier: MIT
// A sound interface's own figures as a file that lasts: JSON with the schema railtap.loopback/1.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "electric/calibration.hpp"
#include "files/atomic_file.hpp"
#include "system/json.hpp"

namespace railtap::system {

/// The document; what is not known is null.
[[nodiscard]] Json loopback_json(const electric::SoundInterface& interface);

/// \param place the file's name, for errors
/// \throws Error for text that is no such document, is damaged, or is a newer version of it
[[nodiscard]] electric::SoundInterface parse_loopback(std::string_view text,
                                                      const std::string& place);

/// Reads such a file. \throws Error as parse_loopback does, and where it cannot be read
[[nodiscard]] electric::SoundInterface read_loopback(const std::filesystem::path& path);

/// Writes it, whole or not at all. \throws Error where it exists and may not be replaced
void write_loopback(const std::filesystem::path& path, const electric::SoundInterface& interface,
                    files::Overwrite overwrite);

}  // namespace railtap::system
