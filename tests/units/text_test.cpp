// SPDX-License-Identifier: MIT
// Blanks, lists of words, and where a character ends.
#include "units/text.hpp"

#include <doctest/doctest.h>

using railtap::character_length;
using railtap::listed;
using railtap::shell_word;
using railtap::trimmed;

TEST_CASE("text: blanks are taken off at either end, and only there") {
  CHECK(trimmed(" \t a b\r\n") == "a b");
  CHECK(trimmed(" \n").empty());
  CHECK(trimmed("").empty());
  CHECK(listed({"one", "two", "three"}) == "one, two, three");
  CHECK(listed({}).empty());
}

// Unicode 15, table 3-7, "Well-Formed UTF-8 Byte Sequences": the first and the last of every row,
// and what lies just outside.
TEST_CASE("text: a character ends where the Unicode table says") {
  for (const char* good : {"a", "\x7F"}) CHECK(character_length(good, 0) == 1);
  for (const char* good : {"\xC2\x80", "\xDF\xBF"}) CHECK(character_length(good, 0) == 2);
  for (const char* good : {"\xE0\xA0\x80", "\xE0\xBF\xBF", "\xE1\x80\x80", "\xEC\xBF\xBF",
                           "\xED\x80\x80", "\xED\x9F\xBF", "\xEE\x80\x80", "\xEF\xBF\xBF"}) {
    CHECK(character_length(good, 0) == 3);
  }
  for (const char* good : {"\xF0\x90\x80\x80", "\xF0\xBF\xBF\xBF", "\xF1\x80\x80\x80",
                           "\xF3\xBF\xBF\xBF", "\xF4\x80\x80\x80", "\xF4\x8F\xBF\xBF"}) {
    CHECK(character_length(good, 0) == 4);
  }
  for (const char* bad :
       {"\x80", "\xBF", "\xC0\x80", "\xC1\xBF", "\xC2", "\xC2\x7F", "\xC2\xC0", "\xE0\x9F\xBF",
        "\xED\xA0\x80", "\xED\xBF\xBF", "\xE1\x80", "\xE1\x80\x7F", "\xF0\x8F\xBF\xBF",
        "\xF4\x90\x80\x80", "\xF5\x80\x80\x80", "\xF1\x80\x80", "\xFF"}) {
    CHECK(character_length(bad, 0) == 0);
  }
  CHECK(character_length("a\xC3\xA9z", 1) == 2);
  CHECK(character_length("a\xC3\xA9z", 2) == 0);
}

TEST_CASE("text: a word of a shell is quoted where it needs it") {
  CHECK(shell_word("build/railtap") == "build/railtap");
  CHECK(shell_word("my van") == "'my van'");
  CHECK(shell_word("it's") == "'it'\\''s'");
  CHECK(shell_word("") == "''");
}
