// SPDX-License-Identifier: MIT
// QR codes through libqrencode.
#include "page/qr_code.hpp"

#include <qrencode.h>

#include <cerrno>
#include <memory>
#include <system_error>

#include "units/error.hpp"

namespace railtap::page {
namespace {

constexpr std::size_t quiet_modules = 4;  // ISO/IEC 18004, 9.1

const char* text_of(char32_t block) {
  switch (block) {
    case U'\u2588':
      return "\u2588";
    case U'\u2580':
      return "\u2580";
    case U'\u2584':
      return "\u2584";
    default:
      return " ";
  }
}

}  // namespace

std::vector<std::vector<bool>> qr_modules(std::string_view text) {
  const auto bytes = reinterpret_cast<const unsigned char*>(text.data());
  // Level M: a screen seen at an angle, with dust on it, is still read.
  const std::unique_ptr<QRcode, decltype(&QRcode_free)> code(
      QRcode_encodeData(static_cast<int>(text.size()), bytes, 0, QR_ECLEVEL_M), QRcode_free);
  if (!code) {
    throw Error("no QR code can be made of it: " + std::generic_category().message(errno),
                std::string(text), "type the address into the phone");
  }
  const auto size = static_cast<std::size_t>(code->width);
  const std::size_t whole = size + 2 * quiet_modules;
  std::vector<std::vector<bool>> modules(whole, std::vector<bool>(whole, false));
  for (std::size_t row = 0; row < size; ++row) {
    for (std::size_t column = 0; column < size; ++column)  // bit 0 is the module's colour
      modules[row + quiet_modules][column + quiet_modules] =
          (code->data[row * size + column] & 1U) != 0;
  }
  return modules;
}

char32_t half_block(bool upper, bool lower) {
  if (upper && lower) return U'\u2588';
  if (upper) return U'\u2580';
  return lower ? U'\u2584' : U' ';
}

std::string qr_text(std::string_view text, bool colour) {
  const auto modules = qr_modules(text);
  std::string lines;
  for (std::size_t row = 0; row < modules.size(); row += 2) {
    if (colour) lines += "\x1B[30;107m";  // black on bright white [ECMA-48, 8.3.117]
    for (std::size_t column = 0; column < modules.size(); ++column) {
      const bool upper = modules[row][column];
      const bool lower = row + 1 < modules.size() && modules[row + 1][column];
      // Without colours the ink is the terminal's light text.
      lines += text_of(colour ? half_block(upper, lower) : half_block(!upper, !lower));
    }
    lines += colour ? "\x1B[0m\n" : "\n";
  }
  return lines;
}

}  // namespace railtap::page
