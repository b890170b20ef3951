// SPDX-License-Identifier: MIT
// Recipes: kits of test tones written as TOML.
#pragma once

#include <string>
#include <string_view>

#include "signal/tone.hpp"

namespace railtap::system {

/// Reads a recipe; testsignals/README.md lists signals and keys.
/// \param place the file's name, for errors
/// \throws Error with the line for what is not TOML, unknown or missing keys, signals or values
///         that can't be, names that are not lower-case letters, digits and '-', or are used twice
[[nodiscard]] signal::Kit parse_recipe(std::string_view text, const std::string& place);

}  // namespace railtap::system
