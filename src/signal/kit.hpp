// SPDX-License-Identifier: MIT
// A kit of test tones: tracks in order, and the recipe that the program carries.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "signal/tone.hpp"

namespace railtap::signal {

/// A kit as its recipe describes it, before anything is rendered.
struct Kit {
  std::string title;
  std::vector<Track> tracks;  ///< in the order of their numbers
};

/// testsignals/kit.toml, built into the program.
[[nodiscard]] std::string_view default_recipe_text();

/// "03_setup-997hz-0db": numbered by place, so that a player sorts the files.
/// \param index of the track, from 0
[[nodiscard]] std::string file_stem(const Kit& kit, std::size_t index);

}  // namespace railtap::signal
