// SPDX-License-Identifier: MIT
// The ring between two threads, and the intake that counts what finds no room in it.

#include <atomic>
#include <cstdint>
#include <random>
#include <thread>
#include <vector>

#include <doctest/doctest.h>

#include "audio/intake.hpp"
#include "support/basics.hpp"

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

// Losses in a stream of driver calls, against calls that were made up with known losses.

namespace {

using namespace railtap;
using audio::Arrival;
using audio::Continuity;
using audio::LossCause;

constexpr double rate = 48000.0;
constexpr std::int64_t call_frames = 480;

// A driver with a clock error and calls that come late by up to `jitter_s`.
class Driver {
 public:
  Driver(double ppm, double jitter_s) : ppm_(ppm), jitter_(0.0, jitter_s) {}

  // Runs for so long; nothing is lost.
  void run(Continuity& continuity, double seconds) {
    const auto calls = static_cast<int>(seconds * rate / call_frames);
    for (int i = 0; i < calls; ++i) call(continuity, jitter_(random_));
  }
  // From now on all calls come later than the count of frames says by so much.
  void late_from_here(double seconds) { behind_s_ = seconds; }
  // Nothing is delivered for so long; then all of it at once but for the frames that are lost.
  void stall(Continuity& continuity, double seconds, std::int64_t lost, bool reported) {
    const auto calls = static_cast<int>(seconds * rate / call_frames);
    const double end_s = time(calls * call_frames);
    done_ += lost;
    overflow_ = reported;
    for (std::int64_t i = 0; i < calls - lost / call_frames; ++i) {
      call(continuity, end_s - time(call_frames));
    }
  }

 private:
  [[nodiscard]] double time(std::int64_t more) const {
    return static_cast<double>(done_ + more) / rate * (1.0 - 1e-6 * ppm_);
  }
  void call(Continuity& continuity, double late_s) {
    const double due_s = time(call_frames);
    done_ += call_frames;
    continuity.add({call_frames, 0, due_s + behind_s_ + late_s, overflow_});
    overflow_ = false;
  }

  double ppm_;
  std::uniform_real_distribution<double> jitter_;
  std::mt19937 random_{1};
  std::int64_t done_ = 0;
  double behind_s_ = 0.0;
  bool overflow_ = false;
};

TEST_CASE("continuity: an hour with a clock 200 ppm off and late calls has no gap") {
  for (const double ppm : {-200.0, 0.0, 200.0}) {
    Continuity continuity{Hertz(rate)};
    Driver driver(ppm, 0.03);
    driver.run(continuity, 3600.0);
    continuity.finish(0);
    CHECK(continuity.gaps().empty());
    CHECK(continuity.frames() == static_cast<std::int64_t>(3600.0 * rate));
  }
}

TEST_CASE("continuity: a loss that shows in two windows is one place with the sum of both") {
  Continuity continuity{Hertz(rate)};
  Driver driver(0.0, 0.0);
  driver.run(continuity, 3.0);
  driver.late_from_here(0.03);  // of the 0.1 s that will be missing
  driver.run(continuity, 1.0);
  driver.late_from_here(0.1);
  driver.run(continuity, 3.0);
  continuity.finish(0);
  REQUIRE(continuity.gaps().size() == 1);
  CHECK(continuity.gaps().front().cause == LossCause::clock);
  CHECK(test::within_abs(static_cast<double>(*continuity.gaps().front().lost), 4800.0, 1.0));
}

TEST_CASE("continuity: a stall whose samples all come later is no loss") {
  Continuity continuity{Hertz(rate)};
  Driver driver(50.0, 0.005);
  for (int i = 0; i < 5; ++i) {
    driver.run(continuity, 3.3);
    driver.stall(continuity, 2.0, 0, false);
  }
  driver.run(continuity, 3.0);
  continuity.finish(0);
  CHECK(continuity.gaps().empty());
}

TEST_CASE(
    "continuity: every silent loss is found, its length right to 5 ms and its place to the call") {
  Continuity continuity{Hertz(rate)};
  Driver driver(50.0, 0.005);
  constexpr std::int64_t lost = 24000;
  for (int i = 0; i < 4; ++i) {
    driver.run(continuity, 4.0);
    driver.stall(continuity, 0.5, lost, false);
  }
  driver.run(continuity, 4.0);
  continuity.finish(0);
  REQUIRE(continuity.gaps().size() == 4);
  for (std::size_t i = 0; i < 4; ++i) {
    const auto& gap = continuity.gaps()[i];
    CHECK(gap.cause == LossCause::clock);
    REQUIRE(gap.lost);
    CHECK(test::within_abs(static_cast<double>(*gap.lost), lost, 0.005 * rate));
    CHECK(test::within_abs(static_cast<double>(gap.at_frame),
                           static_cast<double>(i + 1) * 4.0 * rate, 0.06 * rate));
  }
}

TEST_CASE("continuity: a loss that the driver reports has its place, and its length by the clock") {
  Continuity continuity{Hertz(rate)};
  Driver driver(-30.0, 0.002);
  driver.run(continuity, 3.0);
  driver.stall(continuity, 0.4, 9600, true);
  driver.run(continuity, 3.0);
  continuity.finish(0);
  REQUIRE(continuity.gaps().size() == 1);
  CHECK(continuity.gaps()[0].cause == LossCause::driver);
  CHECK(continuity.gaps()[0].at_frame == static_cast<std::int64_t>(3.0 * rate));
  REQUIRE(continuity.gaps()[0].lost);
  CHECK(test::within_abs(static_cast<double>(*continuity.gaps()[0].lost), 9600.0, 0.005 * rate));
  CHECK(continuity.driver_overflows() == 1);
}

TEST_CASE("continuity: a reported loss too short for the clock is kept, its length unknown") {
  Continuity continuity{Hertz(rate)};
  Driver driver(0.0, 0.002);
  driver.run(continuity, 3.0);
  driver.stall(continuity, 0.0, 96, true);
  driver.run(continuity, 3.0);
  continuity.finish(0);
  REQUIRE(continuity.gaps().size() == 1);
  CHECK(continuity.gaps()[0].cause == LossCause::driver);
  CHECK_FALSE(continuity.gaps()[0].lost);
}

TEST_CASE(
    "continuity: what the buffer lost is counted to the frame, and the clock does not count it "
    "again") {
  Continuity continuity{Hertz(rate)};
  double time_s = 0.0;
  const auto call = [&](std::int64_t lost) {
    time_s += static_cast<double>(call_frames + lost) / rate;
    continuity.add({call_frames, lost, time_s, false});
  };
  for (int i = 0; i < 300; ++i) call(0);
  call(12345);
  for (int i = 0; i < 300; ++i) call(0);
  continuity.finish(77);
  REQUIRE(continuity.gaps().size() == 2);
  CHECK(continuity.gaps()[0].at_frame == 300 * call_frames);
  CHECK(continuity.gaps()[0].lost == 12345);
  CHECK(continuity.gaps()[1].lost == 77);
  CHECK(continuity.lost() == 12345 + 77);
}

TEST_CASE(
    "continuity: a second in which every call is late is taken back once the stream caught up") {
  Continuity continuity{Hertz(rate)};
  Driver driver(0.0, 0.002);
  driver.run(continuity, 3.0);
  // 2.5 s at a steady lag of half a second, then on time again.
  double time_s = 3.0;
  const auto calls = [&](double seconds, double late_s) {
    for (int i = 0; i < static_cast<int>(seconds * rate / call_frames); ++i) {
      time_s += call_frames / rate;
      continuity.add({call_frames, 0, time_s + late_s, false});
    }
  };
  calls(2.5, 0.5);
  CHECK(continuity.gaps().size() == 1);
  calls(3.0, 0.0);
  continuity.finish(0);
  CHECK(continuity.gaps().empty());
}

}  // namespace
