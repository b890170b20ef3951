// SPDX-License-Identifier: MIT
// Numbers in sentences: printed as printf prints them, and never cut.
#include "judge/sentence.hpp"

#include <doctest/doctest.h>

using railtap::judge::sentence;

TEST_CASE("sentence: numbers come out as ISO 9899:2018, 7.21.6.1 has it") {
  CHECK(sentence("%.1f dB at %.3g Hz, 100 %%", 0.25, 1234.0) == "0.2 dB at 1.23e+03 Hz, 100 %");
  CHECK(sentence("none").size() == 4);
}

TEST_CASE("sentence: a long one stays whole") {
  const std::string text = sentence("%.0f%300s%.0f", 1.0, "", 2.0);
  CHECK(text.size() == 302);
  CHECK(text.back() == '2');
}
