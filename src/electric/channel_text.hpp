// SPDX-License-Identifier: MIT
// A channel's description on one line: front:55W:4ohm:60W:14.1V.
#pragma once

#include <string_view>

#include "electric/target.hpp"

namespace railtap::electric {

/// Reads name:power:load[:speaker power][:reading][:bridged]. Behind the name the units tell the
/// parts apart, so they need their units; of two powers the first is the amplifier's. \throws Error
/// with `place` as its place
[[nodiscard]] Channel parse_channel(std::string_view text, std::string_view place);

}  // namespace railtap::electric
