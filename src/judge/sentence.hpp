// SPDX-License-Identifier: MIT
// Numbers put into a sentence.
#pragma once

#include <string>

namespace railtap::judge {

/// The text that printf would print, however long it is. The compiler checks that the numbers fit
/// the format.
[[nodiscard, gnu::format(printf, 1, 2)]] std::string sentence(const char* format, ...);

}  // namespace railtap::judge
