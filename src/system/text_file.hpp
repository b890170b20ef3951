// SPDX-License-Identifier: MIT
// Small text files, read and written whole.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace railtap::system {

/// \throws Error where the file is missing, unreadable, or larger than `most_bytes`
[[nodiscard]] std::string read_text_file(const std::filesystem::path& path,
                                         std::size_t most_bytes = 1'000'000);

/// Writes the whole file under another name first and renames it, so that nothing half-written
/// stays. \param force overwrite a file that exists \throws Error where it exists and `force` is
/// false, or where it cannot be written
void write_text_file(const std::filesystem::path& path, std::string_view text, bool force);

}  // namespace railtap::system
