// SPDX-License-Identifier: MIT
// The page's document: hostile texts, and shares that are no numbers.
#include "page/page_state.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <nlohmann/json.hpp>

namespace {

using namespace railtap::page;

const std::string hostile =
    "</script><img src=x onerror=alert(1)>\x1B[2J\n\r\x7F\xC2\x85 \u202Egnp.exe\u2066 \u200F\u061C "
    "\xFF\xC0\x80 \"'\\";

// Everything on the page that is text.
PageState full_of(const std::string& text) {
  PageState state;
  state.title = state.subtitle = state.message = text;
  state.flags = state.instructions = {{text, Emphasis::alarm}};
  Meter meter;
  meter.name = meter.digits = meter.unit = text;
  meter.verdict = meter.advice = {text, Emphasis::good};
  meter.bar = Bar{0.5, 0.8, Emphasis::plain};
  meter.rails = {{text, text, true, Emphasis::alarm}};
  meter.notes = {{text, Emphasis::plain}};
  meter.wave = {{0.0, -1.0}, {0.5, 1.0}};
  state.meters = {meter};
  state.buttons = {{text, text, false, false}};
  state.question = Question{text, text, true};
  return state;
}

TEST_CASE(
    "page document: one line of JSON whatever a device is called, without control characters") {
  const std::string line = page_json(full_of(hostile));
  CHECK(line.find('\n') == std::string::npos);
  const auto json = nlohmann::json::parse(line);
  CHECK(json["title"] == json["message"]);
  CHECK(json["meters"][0]["name"] == json["title"]);
  const std::string title = json["title"];
  CHECK(
      title.starts_with("</script><img src=x onerror=alert(1)>\uFFFD[2J\uFFFD\uFFFD\uFFFD\uFFFD "));
  CHECK(title.ends_with(" \"'\\"));
  for (const char* bad :
       {"\x1B", "\n", "\r", "\x7F", "\u0085", "\u202E", "\u2066", "\u200F", "\u061C"})
    CHECK(title.find(bad) == std::string::npos);
}

TEST_CASE(
    "page document: other languages stay as they are, and what is too long is cut between "
    "characters") {
  CHECK(shown_text("a\u2028b") == "a\uFFFDb");
  CHECK(shown_text("Tür vorne, 左前, أمامي, 𝄞") == "Tür vorne, 左前, أمامي, 𝄞");
  std::string longer;
  for (std::size_t i = 0; i <= longest_text; ++i) longer += "ü";
  const std::string cut = shown_text(longer);
  CHECK(cut.size() == 2 * longest_text + 3);
  CHECK(cut.ends_with("ü…"));
  longer.resize(2 * longest_text);
  CHECK(shown_text(longer) == longer);
}

TEST_CASE("page document: what is no UTF-8 becomes one U+FFFD for a byte") {
  // Unicode 15, table 3-8.
  CHECK(shown_text("\xC3(") == "\uFFFD(");
  CHECK(shown_text("\xE2\x86") == "\uFFFD\uFFFD");
  CHECK(shown_text("\xED\xA0\x80x") == "\uFFFD\uFFFD\uFFFDx");
  CHECK(shown_text("\xF4\x90\x80\x80x") == "\uFFFD\uFFFD\uFFFD\uFFFDx");
  CHECK(shown_text("\xE0\x80\x80x") == "\uFFFD\uFFFD\uFFFDx");
}

TEST_CASE("page document: shares are whole thousandths, and null where they are no number") {
  PageState state = full_of("a");
  state.meters[0].bar->filled = std::numeric_limits<double>::quiet_NaN();
  state.meters[0].wave = {{0.25, std::numeric_limits<double>::infinity()}};
  const auto json = nlohmann::json::parse(page_json(state));
  CHECK(json["meters"][0]["bar"]["filled"].is_null());
  CHECK(json["meters"][0]["bar"]["mark"] == 800);
  CHECK(json["meters"][0]["wave"][0] == 250);
  CHECK(json["meters"][0]["wave"][1].is_null());
  state.meters[0].bar.reset();
  state.question.reset();
  const auto empty = nlohmann::json::parse(page_json(state));
  CHECK(empty["meters"][0]["bar"].is_null());
  CHECK(empty["question"].is_null());
}

}  // namespace
