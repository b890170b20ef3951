// SPDX-License-Identifier: MIT
// Two recordings with different attenuation: what is compared, what is refused, what is overruled.
#include "judge/attenuation.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "support/basics.hpp"
#include "support/clipped_tone.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr double rate = 48000.0;
constexpr Decibels six{20.0 * 0.3010299956639812};  // a factor of two

// One channel of a tone of peak `amplitude` behind a rail, measured as a file is.
std::vector<measure::ChannelRecording> recording(double amplitude, double rail, double hz = 997.0) {
  Random random(3);
  Recorded as;
  as.fundamental_hz = hz;
  as.amplitude = amplitude;
  as.seconds = 2.0;
  const double over = std::max(0.0, 20.0 * std::log10(amplitude / rail));
  const auto samples = samples_of(clipped_sine(over, over, 20), as, 24, random);
  measure::ChannelMeter meter(Hertz(rate), measure::RecordingOptions{{}, 0x1p-23});
  meter.add(samples.data(), 1, samples.size());
  std::vector<measure::ChannelRecording> channels;
  channels.push_back(meter.finish());
  return channels;
}

ComparedChannel compare(const std::vector<measure::ChannelRecording>& first,
                        const std::vector<measure::ChannelRecording>& second,
                        Decibels attenuation = six) {
  const auto compared = compare_attenuation(first, second, attenuation);
  REQUIRE(compared.size() == 1);
  CHECK(compared[0].channel == 1);
  CHECK(compared[0].found.has_value() == compared[0].obstacle.empty());
  CHECK(any_found(compared) == compared[0].found.has_value());
  return compared[0];
}

}  // namespace

TEST_CASE("attenuation: an amplifier's rail moves by it, the input's stays") {
  const auto amplifier = compare(recording(0.8, 0.6), recording(0.4, 0.3));
  REQUIRE(amplifier.found);
  CHECK(amplifier.found->source == OverloadSource::amplifier);
  CHECK(within_abs(amplifier.level_moved->value(), -six.value(), 0.01));
  const auto input = compare(recording(0.8, 0.3), recording(0.4, 0.3));
  REQUIRE(input.found);
  CHECK(input.found->source == OverloadSource::input);
}

TEST_CASE("attenuation: another tone, another level, no tone are not compared") {
  const auto tone = compare(recording(0.8, 0.6), recording(0.4, 0.3, 400.0));
  CHECK(tone.obstacle.find("the same tone") != std::string::npos);
  const auto level = compare(recording(0.8, 0.6), recording(0.4, 0.3), Decibels(10.0));
  CHECK(level.obstacle.find("-10.00") != std::string::npos);
  // Too small an attenuation must not pass a rail that moved little for one that stays.
  const auto small = compare(recording(0.8, 0.6), recording(0.8, 0.6), Decibels(6.0));
  CHECK_FALSE(small.found);
  const auto none = compare(recording(0.8, 0.6), {measure::ChannelRecording{}});
  CHECK(none.obstacle == "The second recording holds no steady tone");
}

TEST_CASE("attenuation: what the comparison finds overrules what one recording supposed") {
  ChannelAnalysis analysis;
  analysis.findings.verdict = Verdict::clipped;
  analysis.findings.reasons = {"The positive rail is reached."};
  apply(analysis, compare(recording(0.8, 0.3), recording(0.4, 0.3)));
  CHECK(analysis.findings.verdict == Verdict::input_overload);
  CHECK(analysis.findings.input_overload.present);
  CHECK(analysis.findings.reasons.size() == 2);

  apply(analysis, compare(recording(0.8, 0.6), recording(0.4, 0.3)));
  CHECK(analysis.findings.verdict == Verdict::clipped);
  CHECK_FALSE(analysis.findings.input_overload.present);
  CHECK(analysis.findings.reasons.size() == 2);

  analysis.findings.verdict = Verdict::clean;
  apply(analysis, compare(recording(0.5, 0.6), recording(0.25, 0.6)));
  CHECK(analysis.findings.verdict == Verdict::clean);
}
