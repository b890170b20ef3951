// SPDX-License-Identifier: MIT
// The page's document: hostile texts, and shares that are no numbers.

#include <limits>
#include <thread>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "page/exchange.hpp"
#include "page/page_state.hpp"

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

// The slot and the queue between measuring and serving.

namespace {

using namespace railtap::page;
using namespace std::chrono_literals;

PageState state_with(std::int64_t step, const std::string& key) {
  PageState state;
  state.step = step;
  state.buttons = {{key, key, false, false}};
  return state;
}

TEST_CASE(
    "exchange: a reader gets the latest state only, and waits for a newer one no longer than it "
    "says") {
  Exchange exchange;
  CHECK(exchange.wait(0, 0ms).version == 0);
  CHECK(exchange.wait(0, 0ms).document == nullptr);
  for (int i = 1; i <= 100; ++i) exchange.publish(state_with(i, "h"));
  const auto seen = exchange.wait(0, 0ms);
  CHECK(seen.version == 100);
  CHECK(seen.document->find("\"step\":100") != std::string::npos);
  const auto begun = Exchange::Clock::now();
  CHECK(exchange.wait(100, 30ms).version == 100);
  CHECK(Exchange::Clock::now() - begun >= 30ms);
  std::thread later([&] {
    std::this_thread::sleep_for(20ms);
    exchange.publish(state_with(101, "h"));
  });
  CHECK(exchange.wait(100, 10s).version == 101);
  later.join();
}

TEST_CASE("exchange: closing wakes whoever waits") {
  Exchange exchange;
  std::thread later([&] {
    std::this_thread::sleep_for(20ms);
    exchange.close();
  });
  const auto begun = Exchange::Clock::now();
  (void)exchange.wait(0, 60s);
  CHECK(Exchange::Clock::now() - begun < 30s);
  CHECK(exchange.closed());
  later.join();
}

TEST_CASE("exchange: only what the latest state offers is taken, and only for its step") {
  Exchange exchange;
  CHECK(exchange.put({Press::Kind::key, "h", 0}) == Taken::not_offered);
  exchange.publish(state_with(7, "h"));
  CHECK(exchange.put({Press::Kind::key, "h", 7}) == Taken::yes);
  CHECK(exchange.put({Press::Kind::key, "h", 6}) == Taken::not_offered);
  CHECK(exchange.put({Press::Kind::key, "q", 7}) == Taken::not_offered);
  CHECK(exchange.put({Press::Kind::answer, "14V", 7}) == Taken::not_offered);
  CHECK(exchange.take()->text == "h");
  CHECK_FALSE(exchange.take());
  PageState asking = state_with(7, "h");
  asking.question = Question{"volts?", "", true};
  exchange.publish(asking);
  CHECK(exchange.put({Press::Kind::answer, "14V", 7}) == Taken::yes);
  CHECK(exchange.take()->text == "14V");
}

TEST_CASE(
    "exchange: presses that wait are bounded, in order, and dropped when their step is over") {
  Exchange exchange;
  exchange.publish(state_with(1, "h"));
  for (std::size_t i = 0; i < Exchange::most_presses; ++i)
    CHECK(exchange.put({Press::Kind::key, "h", 1}) == Taken::yes);
  CHECK(exchange.put({Press::Kind::key, "h", 1}) == Taken::full);
  CHECK(exchange.take());
  exchange.publish(state_with(2, "h"));
  CHECK_FALSE(exchange.take());
  CHECK(exchange.put({Press::Kind::key, "h", 2}) == Taken::yes);
}

}  // namespace
