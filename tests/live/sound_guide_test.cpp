// SPDX-License-Identifier: MIT
// The guide for the ear: pitch to the target, a sound of its own for flat tops.
#include "live/sound_guide.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "support/basics.hpp"

namespace {

using namespace railtap;
using live::ChannelReading;
using live::GuideSound;
using live::GuideVoice;

ChannelReading reading_at(double dbfs) {
  ChannelReading reading;
  reading.level = Dbfs(dbfs);
  reading.findings.emplace();
  reading.findings->verdict = judge::Verdict::clean;
  return reading;
}

const live::WatchTarget target{Dbfs(-6.0)};

TEST_CASE("guide: the pitch climbs an octave for 6 dB, to 880 Hz at the target") {
  const auto far = guide_tone(reading_at(-18.0), target);
  CHECK(far.sound == GuideSound::below);
  CHECK(test::within_rel(far.pitch.value(), 220.0, 1e-9));
  CHECK(test::within_rel(guide_tone(reading_at(-12.0), target).pitch.value(), 440.0, 1e-9));
  CHECK(guide_tone(reading_at(-6.2), target).sound == GuideSound::on_target);
  CHECK(guide_tone(reading_at(-6.2), target).pitch == live::target_pitch);
  const auto over = guide_tone(reading_at(0.0), target);
  CHECK(over.sound == GuideSound::above);
  CHECK(test::within_rel(over.pitch.value(), 1760.0, 1e-9));
}

TEST_CASE("guide: flat tops and an overloaded input sound alike, and go before the target") {
  ChannelReading reading = reading_at(-6.0);
  reading.findings->flat_top.present = true;
  CHECK(guide_tone(reading, target).sound == GuideSound::flat_tops);
  CHECK(guide_tone(reading, std::nullopt).sound == GuideSound::flat_tops);
  reading.findings->flat_top.present = false;
  reading.findings->verdict = judge::Verdict::input_overload;
  CHECK(guide_tone(reading, target).sound == GuideSound::flat_tops);
}

TEST_CASE("guide: without a target or without a signal there is silence") {
  CHECK(guide_tone(reading_at(-6.0), std::nullopt).sound == GuideSound::none);
  ChannelReading silent = reading_at(-80.0);
  silent.findings->verdict = judge::Verdict::no_signal;
  CHECK(guide_tone(silent, target).sound == GuideSound::none);
}

struct Heard {
  double share_on = 0.0;      // of the time
  double crossings_hz = 0.0;  // upward, while on
  double steepest = 0.0;      // between neighbouring samples
};

Heard listen(const live::GuideTone& tone) {
  constexpr double rate = 48000.0;
  GuideVoice voice{Hertz(rate)};
  voice.set(tone);
  std::vector<float> samples(96000);
  for (std::size_t i = 0; i < samples.size(); i += 480)
    voice.render(std::span(samples).subspan(i, 480));
  Heard heard;
  double on = 0.0;
  double crossings = 0.0;
  for (std::size_t i = 480; i < samples.size(); ++i) {
    const auto window = std::span(samples).subspan(i - 480, 480);
    if (i % 480 == 0) {
      on += std::any_of(window.begin(), window.end(), [](float s) { return std::abs(s) > 0.1F; })
                ? 1
                : 0;
    }
    if (samples[i - 1] < 0.0F && samples[i] >= 0.0F) crossings += 1.0;
    heard.steepest = std::max<double>(heard.steepest, std::abs(samples[i] - samples[i - 1]));
  }
  heard.share_on = on / 199.0;
  heard.crossings_hz = crossings / 1.99;
  return heard;
}

TEST_CASE("guide: sounds can be told apart by their rhythm, and do not click") {
  const Heard below = listen({GuideSound::below, Hertz(440.0)});
  const Heard held = listen({GuideSound::on_target, Hertz(880.0)});
  const Heard above = listen({GuideSound::above, Hertz(1760.0)});
  const Heard none = listen({});
  CHECK(test::within_abs(below.share_on, 0.2, 0.06));
  CHECK(held.share_on > 0.99);
  CHECK(test::within_rel(held.crossings_hz, 880.0, 0.01));
  CHECK(test::within_abs(above.share_on, 0.4, 0.1));
  CHECK(none.share_on == 0.0);
  CHECK(none.steepest == 0.0);
  // A quarter of full scale at 1760 Hz has a slope of 0.25·2π·1760/48000 a sample.
  CHECK(above.steepest < 0.06);
}

TEST_CASE("guide: two names of one sound card are one device") {
  CHECK(audio::same_device("pulse", "pulse"));
  CHECK(audio::same_device("Interface: Audio (hw:1,0)", "Interface: Audio #1 (hw:1,3)"));
  CHECK_FALSE(audio::same_device("Interface: Audio (hw:1,0)", "Laptop: Analog (hw:0,0)"));
  CHECK_FALSE(audio::same_device("Interface: Audio (hw:1,0)", "Other: Audio (hw:10,0)"));
  CHECK_FALSE(audio::same_device("pulse", "default"));
}

}  // namespace
