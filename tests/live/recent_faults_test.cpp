// SPDX-License-Identifier: MIT
// What a watch names of the last seconds: gaps and a level that pumps, but no hand on a control.
#include "live/recent_faults.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <functional>
#include <numbers>
#include <optional>

#include "live/channel_watch.hpp"
#include "live/watch_view.hpp"

namespace {

using namespace railtap;
using judge::CauseKind;

constexpr double rate = 48000.0;
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
