// SPDX-License-Identifier: MIT
// Losses in a stream of driver calls, against calls that were made up with known losses.
#include "audio/continuity.hpp"

#include <doctest/doctest.h>

#include <cstdint>
#include <random>

#include "support/within.hpp"

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
