// SPDX-License-Identifier: MIT
// The target voltage in words, the volts to set first.
#pragma once

#include <span>
#include <string>

#include "electric/target.hpp"

namespace railtap::report {

/// One block of lines per channel, then what holds for all of them. `channels` is not empty.
[[nodiscard]] std::string target_text(std::span<const electric::ChannelTarget> channels,
                                      const electric::Conditions& conditions);

}  // namespace railtap::report
