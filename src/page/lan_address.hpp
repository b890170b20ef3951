// SPDX-License-Identifier: MIT
// Under which address other devices of the network reach this computer.
#pragma once

#include <string>

namespace railtap::page {

/// The IPv4 address of the network that this computer's traffic leaves by; where there is no way
/// out, that of the first network it is in. \throws Error where it is in none
[[nodiscard]] std::string lan_address();

}  // namespace railtap::page
