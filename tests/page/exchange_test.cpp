// SPDX-License-Identifier: MIT
// The slot and the queue between measuring and serving.
#include "page/exchange.hpp"

#include <doctest/doctest.h>

#include <thread>

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
