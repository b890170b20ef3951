// SPDX-License-Identifier: MIT
// The ring between two threads, and the intake that counts what finds no room in it.
#include <doctest/doctest.h>

#include <atomic>
#include <cstdint>
#include <thread>
#include <vector>

#include "audio/intake.hpp"

namespace {

using railtap::audio::Arrival;
using railtap::audio::Intake;
using railtap::audio::Ring;

TEST_CASE("ring: values come out in the order in which they went in, across its end") {
  Ring<int> ring(8);
  std::vector<int> out(8);
  int next_in = 0;
  int next_out = 0;
  for (int round = 0; round < 100; ++round) {
    const std::vector<int> in{next_in, next_in + 1, next_in + 2, next_in + 3, next_in + 4};
    REQUIRE(ring.push(in) == 5);
    next_in += 5;
    REQUIRE(ring.pop(out) == 5);
    for (int i = 0; i < 5; ++i) CHECK(out[static_cast<std::size_t>(i)] == next_out++);
  }
}

TEST_CASE("ring: what does not fit is not taken, and nothing that is there is lost") {
  Ring<int> ring(4);
  CHECK(ring.push(std::vector<int>{1, 2, 3, 4, 5, 6}) == 4);
  CHECK(ring.writable() == 0);
  CHECK(ring.push(std::vector<int>{7}) == 0);
  std::vector<int> out(6, 0);
  CHECK(ring.pop(out) == 4);
  CHECK(out == std::vector<int>{1, 2, 3, 4, 0, 0});
  CHECK(ring.pop(out) == 0);
}

TEST_CASE("ring: two threads pass a million values without losing or mixing any") {
  constexpr std::uint32_t total = 1'000'000;
  Ring<std::uint32_t> ring(1024);
  std::thread writer([&ring] {
    std::vector<std::uint32_t> block;
    std::uint32_t next = 0;
    while (next < total) {
      block.clear();
      for (std::uint32_t i = 0; i < 97 && next + i < total; ++i) block.push_back(next + i);
      next += static_cast<std::uint32_t>(ring.push(block));
      if (ring.writable() == 0) std::this_thread::yield();
    }
  });
  std::uint32_t expected = 0;
  bool in_order = true;
  std::vector<std::uint32_t> out(61);
  while (expected < total) {
    const std::size_t got = ring.pop(out);
    for (std::size_t i = 0; i < got; ++i) in_order = in_order && out[i] == expected++;
    if (got == 0) std::this_thread::yield();
  }
  writer.join();
  CHECK(in_order);
  CHECK(ring.readable() == 0);
}

TEST_CASE("intake: a call that does not fit is lost whole, and counted before the next one") {
  Intake intake(2, 64);
  const std::vector<std::int32_t> call(2 * 48, 7);
  intake.take(call, 0.0, false);
  intake.take(call, 0.001, false);  // 96 frames do not fit in 64
  intake.take(call, 0.002, true);
  std::vector<std::int32_t> out(2 * 64);
  CHECK(intake.read(out) == 48);
  intake.take(call, 0.003, false);

  const auto first = intake.next_arrival();
  REQUIRE(first);
  CHECK(first->frames == 48);
  CHECK(first->lost == 0);
  const auto second = intake.next_arrival();
  REQUIRE(second);
  CHECK(second->frames == 48);
  CHECK(second->lost == 96);
  CHECK(second->overflow);  // reported with a call that was lost itself
  CHECK(second->time_s == 0.003);
  CHECK_FALSE(intake.next_arrival());
}

TEST_CASE("intake: frames lost behind the last call that fitted are told at the end") {
  Intake intake(1, 32);
  intake.take(std::vector<std::int32_t>(32, 1), 0.0, false);
  intake.take(std::vector<std::int32_t>(20, 1), 0.1, false);
  CHECK(intake.lost_at_end() == 20);
}

TEST_CASE("intake: a reader that is held up again and again misses nothing unnoticed") {
  constexpr std::int64_t calls = 20000;
  constexpr std::int64_t frames = 50;
  Intake intake(1, 400);
  std::atomic<bool> done{false};
  std::thread driver([&intake, &done] {
    std::vector<std::int32_t> call(frames);
    for (std::int64_t i = 0; i < calls; ++i) {
      for (std::int64_t k = 0; k < frames; ++k) {
        call[static_cast<std::size_t>(k)] = static_cast<std::int32_t>(i * frames + k);
      }
      intake.take(call, static_cast<double>(i), false);
      if (i % 16 == 0) std::this_thread::yield();
    }
    done.store(true);
  });
  // Every sample holds its own number, so each arrival says where its samples must begin.
  std::int64_t expected = 0;
  std::int64_t kept = 0;
  std::int64_t lost = 0;
  bool right = true;
  std::vector<std::int32_t> out(frames);
  const auto take_all = [&] {
    while (const auto arrival = intake.next_arrival()) {
      lost += arrival->lost;
      kept += arrival->frames;
      expected += arrival->lost;
      right = right && intake.read(out) == static_cast<std::size_t>(frames);
      for (const std::int32_t value : out) right = right && value == expected++;
    }
  };
  while (!done.load()) take_all();
  driver.join();
  take_all();
  CHECK(right);
  CHECK(kept + lost + intake.lost_at_end() == calls * frames);
}

}  // namespace
