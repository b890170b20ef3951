// SPDX-License-Identifier: MIT
// What reaches a terminal: no control character but those that the program meant.
#include "files/visible_output.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <ostream>
#include <sstream>
#include <string>

#include "support/basics.hpp"
#include "system/json.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

using namespace railtap;
using files::AsItIs;
using files::VisibleOutput;

namespace {

bool commands_nothing(const std::string& text) {
  for (std::size_t at = 0; at < text.size(); ++at) {
    const auto byte = static_cast<unsigned char>(text[at]);
    if ((byte < 0x20 && byte != '\n' && byte != '\t') || byte == 0x7F) return false;
    // C1 as UTF-8 has it; alone, such a byte is no character.
    if (byte == 0xC2 && static_cast<unsigned char>(text.at(at + 1)) < 0xA0) return false;
    const std::size_t length = character_length(text, at);
    if (length == 0) return false;
    at += length - 1;
  }
  return true;
}

}  // namespace

TEST_CASE("visible: control characters, bytes that are no text, and turned writing are shown") {
  CHECK(visible("van") == "van");
  CHECK(visible("\x1b[2J\a") == "\\x1b[2J\\x07");
  CHECK(visible("a\nb\tc\r") == "a\\x0ab\\x09c\\x0d");
  CHECK(visible("a\nb\tc\r", Lines::keep) == "a\nb\tc\\x0d");
  CHECK(visible("\x7f") == "\\x7f");
  CHECK(visible("\u009b2J") == "\\x9b2J");
  CHECK(visible("a\u061Cb") == "a\\u061cb");
  CHECK(visible("\x9b"
                "2J") == "\\x9b2J");
  CHECK(visible("gpj\u202e.wav") == "gpj\\u202e.wav");
  CHECK(visible("T\u00fcr 4 \u03a9 \u00b1") == "T\u00fcr 4 \u03a9 \u00b1");
}

TEST_CASE("visible output: whatever is written, and in whatever pieces, commands nothing") {
  test::Random random(11);
  for (int n = 0; n < 300; ++n) {
    std::string text;
    for (int i = test::one_of(random, 60); i > 0; --i) {
      constexpr const char* pieces[] = {"\x1b[31m",   "\a",       "\u009b", "\u00e4",
                                        "\U0001F50A", "\xE2\x82", "\xff",   "\n",
                                        "plain",      "\x7f",     "\r",     "\u202e"};
      text += pieces[test::one_of(random, 12)];
    }
    std::ostringstream out;
    {
      const VisibleOutput whole(out);
      for (std::size_t at = 0; at < text.size();) {
        const auto length = static_cast<std::size_t>(1 + test::one_of(random, 5));
        out << text.substr(at, length);
        if (test::one_of(random, 3) == 0) out.flush();
        at += length;
      }
    }
    CHECK(commands_nothing(out.str()));
    CHECK(out.str() == visible(text, Lines::keep));
  }
}

TEST_CASE("visible output: the program's own control characters pass, and the stream comes back") {
  std::ostringstream out;
  {
    const VisibleOutput whole(out);
    out << AsItIs{"\r"} << "12 s \x1b" << 'x' << std::flush;
    CHECK(out.str() == "\r12 s \\x1bx");
  }
  out << "\x1b" << AsItIs{"\r"};
  CHECK(out.str() == "\r12 s \\x1bx\x1b\r");
}

TEST_CASE("visible output: a stream that failed is known to have failed") {
  std::ostringstream out;
  {
    const VisibleOutput whole(out);
    out.setstate(std::ios::badbit);
  }
  CHECK(out.bad());
}

TEST_CASE("json: a text holds no character that a terminal obeys, and is the same when read") {
  system::Json json;
  json.set("name", "\x1b[2J\x7f\u009b\u00e4");
  CHECK(json.line() == "{\"name\":\"\\u001b[2J\\u007f\\u009b\u00e4\"}");
}
