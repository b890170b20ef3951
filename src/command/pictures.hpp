// SPDX-License-Identifier: MIT
// Pictures alone, for commands with --svg.
#pragma once

#include <filesystem>

#include "files/atomic_file.hpp"
#include "system/json.hpp"

namespace railtap::command {

/// Writes the pictures of a document. A name that ends in .svg is one file with all of them;
/// anything else is a folder, created where needed, for a file each, named after the recording.
/// \param recording name of the recording, of which the stem is used
/// \throws Error where the document gives no picture, or a file is there and `overwrite` refuses
void write_pictures(const system::Json& document, const std::filesystem::path& where,
                    const std::filesystem::path& recording, files::Overwrite overwrite);

}  // namespace railtap::command
