// SPDX-License-Identifier: MIT
// Text as a shell takes it.
#include "units/text.hpp"

#include <doctest/doctest.h>

using railtap::shell_word;

TEST_CASE("text: a word of a shell is quoted where it needs it") {
  CHECK(shell_word("build/railtap") == "build/railtap");
  CHECK(shell_word("my van") == "'my van'");
  CHECK(shell_word("it's") == "'it'\\''s'");
  CHECK(shell_word("") == "''");
}
