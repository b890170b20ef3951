// SPDX-License-Identifier: MIT
// The QR code's shape; tests/page/page_check.py reads what is in it.
#include "page/address.hpp"

#include <doctest/doctest.h>

#include <algorithm>

namespace {

using namespace railtap::page;

// 21 bytes in level M need version 2 (26 bytes), of 25 modules [ISO/IEC 18004, table 7].
constexpr const char* text = "http://192.168.4.20/a";
constexpr std::size_t quiet = 4, size = 25;

TEST_CASE("QR code: as large as its version, four light modules around it") {
  const auto modules = qr_modules(text);
  REQUIRE(modules.size() == size + 2 * quiet);
  for (std::size_t row = 0; row < modules.size(); ++row) {
    REQUIRE(modules[row].size() == modules.size());
    for (std::size_t column = 0; column < modules.size(); ++column) {
      const bool outside =
          row < quiet || column < quiet || row >= quiet + size || column >= quiet + size;
      if (outside) CHECK_FALSE(modules[row][column]);
    }
  }
}

TEST_CASE("QR code: three finder patterns in their corners") {
  const auto modules = qr_modules(text);
  const char* pattern[7] = {"#######", "#     #", "# ### #", "# ### #",
                            "# ### #", "#     #", "#######"};
  for (const auto& [top, left] :
       {std::pair<std::size_t, std::size_t>{0, 0}, {0, size - 7}, {size - 7, 0}}) {
    for (std::size_t row = 0; row < 7; ++row) {
      for (std::size_t column = 0; column < 7; ++column)
        CHECK(modules[quiet + top + row][quiet + left + column] == (pattern[row][column] == '#'));
    }
  }
}

TEST_CASE(
    "QR code: two rows of modules to a line, dark on light with colours, inverted ink without") {
  CHECK(half_block(true, true) == U'█');
  CHECK(half_block(true, false) == U'▀');
  CHECK(half_block(false, true) == U'▄');
  CHECK(half_block(false, false) == U' ');
  const std::string plain = qr_text(text, false);
  CHECK(plain.find('\x1B') == std::string::npos);
  CHECK(plain.starts_with("█████████████████████████████████\n"));
  CHECK(std::count(plain.begin(), plain.end(), '\n') == 17);
  const std::string coloured = qr_text(text, true);
  CHECK(coloured.starts_with("\x1B[30;107m                                 \x1B[0m\n"));
}

TEST_CASE("QR code: what fits into no code is an error") {
  CHECK_THROWS((void)qr_modules(std::string(4000, 'x')));
}

}  // namespace
