// SPDX-License-Identifier: MIT
// The target voltage as a document for programs: schema railtap.target/1.
#pragma once

#include <span>
#include <string>

#include "electric/target.hpp"

namespace railtap::report {

/// One channel is the document itself; several are a list under "channels". What is not known is
/// null.
[[nodiscard]] std::string target_json(std::span<const electric::ChannelTarget> channels,
                                      const electric::Conditions& conditions);

}  // namespace railtap::report
