// SPDX-License-Identifier: MIT
// Under which address other devices of the network reach this computer, and a text as a QR code
// [ISO/IEC 18004].
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace railtap::page {

// Under which address other devices of the network reach this computer.

/// The IPv4 address of the network that this computer's traffic leaves by; where there is no way
/// out, that of the first network it is in. \throws Error where it is in none
[[nodiscard]] std::string lan_address();

// A text as a QR code [ISO/IEC 18004], for a terminal.

/// The modules of the code, row by row, true for dark, with the quiet zone of four light modules
/// around it (ISO/IEC 18004, 9.1). libqrencode makes it: error correction, masks and versions are
/// no work of ours. \throws Error where the text is too long, or memory ran out
[[nodiscard]] std::vector<std::vector<bool>> qr_modules(std::string_view text);

/// The code in half blocks, two rows of modules to a line, for a terminal that writes light on
/// dark. \param colour sets dark and light by itself, whatever the terminal's colours are
[[nodiscard]] std::string qr_text(std::string_view text, bool colour);

/// The half block for a pair of modules one above the other, as ink that is dark.
[[nodiscard]] char32_t half_block(bool upper, bool lower);

}  // namespace railtap::page
