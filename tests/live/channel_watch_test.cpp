// SPDX-License-Identifier: MIT
// One channel while it plays: level soon, distortion only where the level stands still.

#include <cmath>
#include <functional>
#include <limits>
#include <numbers>
#include <optional>
#include <vector>

#include <doctest/doctest.h>

#include "live/channel_watch.hpp"
#include "live/watch_view.hpp"
#include "support/basics.hpp"

namespace {

using namespace railtap;
using judge::Verdict;
using live::ChannelWatch;
using live::WatchSettings;

constexpr double rate = 48000.0;

class Player {
 public:
  explicit Player(WatchSettings settings = {}) : watch_(1, settings) {}

  // Plays a tone whose amplitude is a function of the time from here on, cut at `rail`.
  void play(double seconds, const std::function<double(double)>& amplitude, double rail = 2.0,
            double hertz = 1000.0) {
    const auto count = static_cast<int>(seconds * rate);
    for (int i = 0; i < count; ++i) {
      phase_ += 2.0 * std::numbers::pi * hertz / rate;
      const double clean = amplitude(i / rate) * std::sin(phase_);
      add(std::min(clean, rail) + noise_(random_));
    }
  }
  void add(double sample) { watch_.add(&sample, 1, 1); }
  [[nodiscard]] const live::ChannelReading& reading() const { return watch_.reading(); }
  ChannelWatch& watch() { return watch_; }

 private:
  ChannelWatch watch_;
  double phase_ = 0.0;
  test::Random random_{5};
  test::Gaussian noise_{0.0, 3e-5};
};

double always(double amplitude, double /*time*/) {
  return amplitude;
}
std::function<double(double)> steady(double amplitude) {
  return [amplitude](double time) { return always(amplitude, time); };
}

TEST_CASE("watch: a step of level is in the figure 75 ms after it, right to 0.05 dB") {
  for (const double hertz : {50.0, 1000.0}) {
    for (int phase = 0; phase < 10; ++phase) {
      Player player;
      player.play(1.0 + phase * 0.0037, steady(0.05), 2.0, hertz);
      player.play(0.075, steady(0.5), 2.0, hertz);
      REQUIRE(player.reading().level);
      CHECK(test::within_abs(player.reading().level->value(), 20.0 * std::log10(0.5), 0.05));
    }
  }
}

TEST_CASE("watch: a steady clean tone is clean, its level right to 0.001 dB") {
  Player player;
  player.play(1.0, steady(0.5));
  const auto& reading = player.reading();
  REQUIRE(reading.findings);
  CHECK(reading.steady);
  CHECK(reading.findings->verdict == Verdict::clean);
  CHECK(test::within_abs(reading.level->value(), 20.0 * std::log10(0.5), 0.001));
  CHECK(test::within_abs(reading.findings->frequency->value(), 1000.0, 0.01));
  CHECK(reading.cycle.size() >= 48);
}

TEST_CASE("watch: the rail that is reached is told, with the overdrive") {
  Player player;
  player.play(1.0, steady(0.5), 0.45);
  REQUIRE(player.reading().findings);
  const auto& findings = *player.reading().findings;
  CHECK(findings.verdict == Verdict::clipped);
  REQUIRE(findings.flat_top.overdrive_positive);
  CHECK(test::within_abs(findings.flat_top.overdrive_positive->value(),
                         20.0 * std::log10(0.5 / 0.45), 0.02));
  CHECK_FALSE(findings.flat_top.overdrive_negative);
}

TEST_CASE("watch: a tone that is turned into its rail is called clipped while it moves") {
  Player player;
  player.play(1.0, steady(0.2), 0.45);
  int called = 0;
  for (int i = 0; i < 160; ++i) {  // 1.6 s, 6 dB a second: 0.2 to 0.6
    const double start = i * 0.01;
    player.play(
        0.01, [start](double time) { return 0.2 * std::pow(10.0, (start + time) * 0.3); }, 0.45);
    const auto& reading = player.reading();
    const bool clipped = reading.findings && reading.findings->verdict == Verdict::clipped;
    called += clipped && !reading.steady ? 1 : 0;
    // Half a block before it is measured, and half a block until it is shown.
    const double peak = 0.2 * std::pow(10.0, (start + 0.01) * 0.3);
    if (clipped) CHECK(peak > 0.45);
  }
  CHECK(called > 10);
}

TEST_CASE("watch: a level that moves is no distortion, and one that jumps is not judged") {
  Player player;
  player.play(1.0, steady(0.2));
  bool accused = false;
  bool moved = false;
  for (int i = 0; i < 200; ++i) {  // 2 s, 6 dB a second
    const double start = i * 0.01;
    player.play(
        0.01, [start](double time) { return 0.2 * std::pow(10.0, (start + time) * 0.3); }, 2.0);
    const auto& findings = player.reading().findings;
    moved = moved || !findings;
    accused = accused || (findings && findings->verdict != Verdict::clean);
  }
  CHECK(moved);
  CHECK_FALSE(accused);
  player.play(0.5, steady(0.2 * std::pow(10.0, 0.6)));
  REQUIRE(player.reading().findings);
  CHECK(player.reading().findings->verdict == Verdict::clean);
}

TEST_CASE("watch: the highest clean reading stays when the tone clips, and goes with a reset") {
  Player player;
  player.play(1.0, steady(0.3), 0.4);
  player.play(1.0, steady(0.5), 0.4);
  player.play(1.0, steady(0.1), 0.4);
  REQUIRE(player.reading().highest_clean);
  CHECK(test::within_abs(player.reading().highest_clean->level.value(), 20.0 * std::log10(0.3),
                         0.01));
  CHECK(player.reading().highest_clean->at < Seconds(1.01));
  player.watch().reset();
  CHECK_FALSE(player.reading().highest_clean);
  CHECK(player.reading().history.empty());
}

TEST_CASE("watch: the history holds a minute, its loudest levels and worst verdicts") {
  Player player;
  player.play(2.0, steady(0.2), 0.4);
  player.play(1.0, steady(0.5), 0.4);
  player.play(60.0, steady(0.1), 0.4);
  const auto& history = player.reading().history;
  CHECK(history.size() == 120);
  for (const auto& point : history) {
    REQUIRE(point.level);
    CHECK(test::within_abs(point.level->value(), -20.0, 0.05));
    CHECK(point.verdict == Verdict::clean);
  }
  Player clipped;
  clipped.play(1.0, steady(0.5), 0.4);
  clipped.play(3.0, steady(0.1), 0.4);
  CHECK(clipped.reading().history.front().verdict == Verdict::clipped);
}

TEST_CASE(
    "watch: silence, noise and what is no number are called so, and leave no invented THD+N") {
  Player silence;
  for (int i = 0; i < 24000; ++i) silence.add(0.0);
  REQUIRE(silence.reading().findings);
  CHECK(silence.reading().findings->verdict == Verdict::no_signal);
  CHECK_FALSE(silence.reading().level);

  Player noise;
  test::Random random(9);
  test::Gaussian normal(0.0, 0.1);
  bool invented = false;
  for (int i = 0; i < 96000; ++i) {
    noise.add(normal(random));
    const auto& findings = noise.reading().findings;
    invented = invented || (findings && findings->thdn);
  }
  CHECK_FALSE(invented);

  Player damaged;
  damaged.play(0.5, steady(0.3));
  damaged.add(std::numeric_limits<double>::quiet_NaN());
  damaged.play(0.19, steady(0.3));
  damaged.play(0.5, steady(0.3));
  REQUIRE(damaged.reading().findings);
  CHECK(damaged.reading().findings->verdict == Verdict::clean);
}

TEST_CASE("watch: an input at its full scale is overloaded, not an amplifier that clips") {
  for (const double step : {1.0 / 32768.0, 1.0 / 8388608.0}) {
    WatchSettings settings;
    settings.find_code_step = true;
    ChannelWatch watch(1, settings);
    for (int i = 0; i < 24000; ++i) {
      const double clean = 1.2 * std::sin(2.0 * std::numbers::pi * 1000.0 * i / rate);
      const double code = std::round(std::clamp(clean, -1.0, 1.0 - step) / step) * step;
      watch.add(&code, 1, 1);
    }
    REQUIRE(watch.reading().findings);
    CHECK(watch.reading().findings->verdict == Verdict::input_overload);
  }
}

}  // namespace

// What a watch names of the last seconds: gaps and a level that pumps, but no hand on a control.

namespace {

using namespace railtap;
using judge::CauseKind;

constexpr double pi = std::numbers::pi;

// What a watch says of a tone whose amplitude is a function of time, at each moment at which it
// says anything of the last seconds; the last one.
std::optional<judge::Cause> watched(double seconds,
                                    const std::function<double(double)>& amplitude) {
  live::ChannelWatch watch(1, {});
  std::optional<judge::Cause> last;
  for (int n = 0; n < static_cast<int>(seconds * rate); ++n) {
    const double time = n / rate;
    const double sample = amplitude(time) * std::sin(2.0 * pi * 997.0 * time);
    watch.add(&sample, 1, 1);
    if (watch.reading().lasting) last = watch.reading().lasting;
  }
  return last;
}

}  // namespace

TEST_CASE("watch: a steady tone has no fault of the last seconds") {
  CHECK_FALSE(watched(7.0, [](double) { return 0.3; }));
}

TEST_CASE("watch: gaps are named, with their time in the stream") {
  const auto cause = watched(9.0, [](double t) { return t > 5.0 && t < 5.03 ? 0.0 : 0.3; });
  REQUIRE(cause);
  CHECK(cause->kind == CauseKind::gaps);
  CHECK(cause->sentence.find("1 gap, at 5.00 s") != std::string::npos);
}

TEST_CASE("watch: gaps are counted on over the seconds, and to the end of the stream") {
  live::ChannelWatch watch(1, {});
  const auto play = [&](double from, double to) {
    for (int n = static_cast<int>(from * rate); n < static_cast<int>(to * rate); ++n) {
      const double t = n / rate;
      const bool gap = std::abs(t - 1.1) < 0.01 || std::abs(t - 2.7) < 0.01 ||
                       std::abs(t - 4.2) < 0.01 || std::abs(t - 6.7) < 0.01;
      const double sample = gap ? 0.0 : 0.3 * std::sin(2.0 * pi * 997.0 * t);
      watch.add(&sample, 1, 1);
    }
  };
  play(0.0, 6.5);
  REQUIRE(watch.reading().lasting);
  CHECK(watch.reading().lasting->sentence.find("3 gaps, the first at 1.09 s") != std::string::npos);
  play(6.5, 8.4);
  CHECK(watch.finish());
  CHECK(watch.reading().lasting->sentence.find("4 gaps, the first at 1.09 s") != std::string::npos);
  // Nothing new: the end has been told.
  CHECK_FALSE(watch.finish());
}

TEST_CASE("watch: a whine whose pitch moves is told so, one that stays is not") {
  for (const double hz_per_s : {0.0, 20.0}) {
    CAPTURE(hz_per_s);
    live::ChannelWatch watch(1, {});
    for (int n = 0; n < static_cast<int>(3.0 * rate); ++n) {
      const double t = n / rate;
      const double sample = 0.3 * std::sin(2.0 * pi * 997.0 * t) +
                            0.009 * std::sin(2.0 * pi * (2000.0 + 0.5 * hz_per_s * t) * t);
      watch.add(&sample, 1, 1);
    }
    const auto cause = live::cause_of(watch.reading());
    REQUIRE(cause);
    CHECK(cause->kind == CauseKind::whine);
    CHECK((cause->sentence.find("whose pitch moves") != std::string::npos) == (hz_per_s > 0.0));
  }
}

TEST_CASE("watch: a level that goes up and down by itself is named") {
  const auto cause = watched(
      11.0, [](double t) { return 0.3 * std::pow(10.0, 0.1 * std::sin(2.0 * pi * 0.8 * t)); });
  REQUIRE(cause);
  CHECK(cause->kind == CauseKind::level_pumping);
}

TEST_CASE("watch: a control that is turned up, and back once, is no pumping") {
  CHECK_FALSE(watched(8.0, [](double t) {
    const double way = t < 2.0 ? 0.0 : t < 4.0 ? t - 2.0 : t < 5.0 ? 2.0 - (t - 4.0) : 1.0;
    return 0.1 * std::pow(10.0, 6.0 * way / 20.0);
  }));
}

TEST_CASE("watch: what the last seconds held gives way to flat tops, and r forgets it") {
  live::ChannelReading reading;
  reading.lasting = judge::Cause{CauseKind::gaps, "3 gaps.", "", {}, {}, {}, {}};
  reading.findings.emplace();
  CHECK(live::cause_of(reading)->kind == CauseKind::gaps);
  reading.findings->flat_top.present = true;
  reading.findings->cause = judge::Cause{CauseKind::clipping, "Clipped.", "", {}, {}, {}, {}};
  CHECK(live::cause_of(reading)->kind == CauseKind::clipping);

  live::RecentFaults faults(Hertz(rate), {});
  for (int n = 0; n < 5 * 48000; ++n) {
    const double sample = n == 90000 ? 0.9 : 0.3 * std::sin(2.0 * pi * 997.0 * n / rate);
    (void)faults.add(&sample, 1, 1, true);
  }
  REQUIRE(faults.cause());
  CHECK(faults.cause()->kind == CauseKind::clicks);
  faults.reset();
  CHECK_FALSE(faults.cause());
}

TEST_CASE("watch: samples that are missing where one stretch ends are seen in the next") {
  for (const double hz : {50.0, 997.0}) {
    CAPTURE(hz);
    live::RecentFaults faults(Hertz(rate), {});
    constexpr int border = 3 * 48000;
    for (int n = 0; n < 2 * border; ++n) {
      const int at = n < border ? n : n + 200;
      const double sample = 0.3 * std::sin(2.0 * pi * hz * at / rate);
      (void)faults.add(&sample, 1, 1, true);
      if (n == border) CHECK_FALSE(faults.cause());
    }
    REQUIRE(faults.cause());
    CHECK(faults.cause()->kind == CauseKind::missing_samples);
    const std::string& sentence = faults.cause()->sentence;
    CAPTURE(sentence);
    const auto at = sentence.find("at ");
    REQUIRE(at != std::string::npos);
    CHECK(test::within_abs(std::stod(sentence.substr(at + 3)), 3.0, 0.05));
  }
}
