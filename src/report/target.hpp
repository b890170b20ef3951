// SPDX-License-Identifier: MIT
// The target voltage as a document, and in words with the volts to set first.
#pragma once

#include <span>
#include <string>

#include "electric/target.hpp"
#include "system/json.hpp"

namespace railtap::report {

/// One channel is the document itself; several are a list under "channels". What is not known is
/// null.
[[nodiscard]] system::Json target_json(std::span<const electric::ChannelTarget> channels,
                                       const electric::Conditions& conditions);

/// "amplifier", "speaker", "supply", "head unit" or "clipping".
[[nodiscard]] const char* in_words(electric::Limit limit);

/// One block of lines per channel, then what holds for all of them. `channels` is not empty.
[[nodiscard]] std::string target_text(std::span<const electric::ChannelTarget> channels,
                                      const electric::Conditions& conditions);

}  // namespace railtap::report
