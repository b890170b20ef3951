// SPDX-License-Identifier: MIT
// The secret part of the page's address.
#pragma once

#include <string>
#include <string_view>

namespace railtap::page {

/// 128 bits of the system's own randomness (getrandom) in 22 characters of base64url
/// [RFC 4648, 5]: as many as RFC 6749, 10.10 asks for. \throws Error where the system gives none
[[nodiscard]] std::string make_token();

/// Whether two texts are the same. The time it takes depends on the first one's length only, so a
/// guess learns nothing from it.
[[nodiscard]] bool same_secret(std::string_view given, std::string_view secret);

}  // namespace railtap::page
