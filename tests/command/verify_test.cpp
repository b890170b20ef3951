// SPDX-License-Identifier: MIT
// The rig's faults, switched on one by one, as `verify` finds them in a recording.
#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <string>

#include "audio/sound_file.hpp"
#include "command/demo_bench.hpp"
#include "command/demo_findings.hpp"
#include "command/verify_capture.hpp"
#include "rig/instruments.hpp"
#include "signal/tone.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using judge::Carries;
using judge::FilterKind;
using judge::Polarity;
using judge::Verification;

namespace {

rig::Rig sound_van() {
  rig::Rig rig = rig::parse_rig(rig::camper_van_text(), "camper_van.toml");
  for (auto& amplifier : rig.amplifiers) {
    for (auto& control : amplifier.controls) {
      control.faults = {};
      control.high_pass.order = control.low_pass.order = 0;
      control.travel = 0.1;
    }
  }
  rig.head_unit.tone = {};
  return rig;
}

/// A recording of the front channels at a middle volume, verified.
class Bench {
 public:
  Bench()
      : folder_(command::open_demo_folder(root_.path() / "demo", files::Overwrite::allow)),
        track_(command::write_verify_track(folder_)) {}

  Verification verify(const rig::Rig& rig) { return verify(rig, track_); }

  Verification verify(const rig::Rig& rig, const signal::Track& track) {
    return verify(rig, command::write_tone(folder_, track));
  }

 private:
  Verification verify(const rig::Rig& rig, const std::filesystem::path& track) {
    rig::Play play;
    play.point.at = rig::TapPoint::At::amplifier;
    play.volume = {{Seconds(0.0), 24}};
    const auto path = command::write_capture(folder_, "capture",
                                             rig::record(rig, play, audio::open_sound_file(track)));
    auto capture = command::measure_verification(path, 1);
    judge::VerificationLimits limits;
    limits.volts_per_full_scale = Volts(47.4);
    limits.sensitivity = Decibels(89.0);
    return judge::judge_verification(capture.channels, nullptr, limits);
  }

  test::TemporaryFolder root_;
  command::DemoFolder folder_;
  std::filesystem::path track_;
};

// A verification, and stepped bass tones after a pause of any length, as the kit has them in files
// of their own.
signal::Track with_steady_tones(bool verification, Seconds pause) {
  constexpr auto both = signal::Channels::both;
  constexpr auto mid = signal::MarkerBand::mid, low = signal::MarkerBand::low,
                 none = signal::MarkerBand::none;
  constexpr Dbfs level{-15.0};
  signal::Track track;
  track.name = "steady";
  if (verification) {
    track.parts = {{signal::ChannelPattern{level}, both, mid},
                   {signal::PolarityPulses{Hertz(500.0), level, Seconds(1.0)}, both, mid},
                   {signal::LogSweep{Hertz(20.0), Hertz(19000.0), level, Seconds(4.0)}, both, mid},
                   {signal::Silence{Seconds(1.0)}, both, mid}};
  }
  track.parts.push_back({signal::Silence{pause}, both, none});
  track.parts.push_back(
      {signal::SteppedSine{signal::third_octaves(13, 11), Dbfs(-20.0), Seconds(0.6)}, both, low});
  track.parts.push_back({signal::Silence{Seconds(0.5)}, both, none});
  return track;
}

const judge::Filter* boost_in(const std::optional<judge::ResponseFindings>& found) {
  if (!found) return nullptr;
  const auto boost = std::find_if(found->filters.begin(), found->filters.end(),
                                  [](const auto& f) { return f.kind == FilterKind::peaking; });
  return boost == found->filters.end() ? nullptr : &*boost;
}

rig::Control& front(rig::Rig& rig) {
  return rig.amplifiers[0].controls[0];
}

std::string faults(const Verification& verification) {
  std::string text;
  const auto add = [&](const std::vector<judge::Finding>& findings) {
    for (const auto& f : findings)
      if (f.severity != judge::Severity::note) text += f.text + "\n";
  };
  for (const auto& channel : verification.channels) add(channel.findings);
  if (verification.pair) add(verification.pair->findings);
  return text;
}

bool has(const Verification& verification, FilterKind kind) {
  const auto& filters = verification.channels[0].filters->filters;
  return std::any_of(filters.begin(), filters.end(),
                     [&](const judge::Filter& f) { return f.kind == kind; });
}

}  // namespace

TEST_CASE("verify: a van without faults is good, and swapped, silent and inverted are told") {
  Bench bench;
  rig::Rig rig = sound_van();
  const Verification good = bench.verify(rig);
  CHECK_MESSAGE(good.within_limits(), faults(good));
  front(rig).faults.swapped = true;
  const Verification swapped = bench.verify(rig);
  CHECK(swapped.channels[0].identity->carries == Carries::right);
  CHECK(swapped.channels[1].identity->carries == Carries::left);
  CHECK(faults(swapped).find("swapped") != std::string::npos);
  front(rig).faults.swapped = false;
  front(rig).faults.silent[1] = true;
  front(rig).inputs[0].left = -1.0;
  const Verification silent = bench.verify(rig);
  CHECK(silent.channels[0].polarity->polarity == Polarity::inverted);
  CHECK(silent.channels[0].identity->carries == Carries::left);
  CHECK(silent.channels[1].identity->carries == Carries::silent);
  CHECK_FALSE(silent.within_limits());
}

TEST_CASE("verify: filters, boosts and tone controls are told") {
  Bench bench;
  rig::Rig rig = sound_van();
  front(rig).high_pass = {Hertz(80.0), 2};
  front(rig).low_pass = {Hertz(3000.0), 4};
  const Verification filtered = bench.verify(rig);
  REQUIRE(filtered.channels[0].filters.has_value());
  CHECK(has(filtered, FilterKind::high_pass));
  CHECK(has(filtered, FilterKind::low_pass));
  CHECK(faults(filtered).find("high-pass on at about 80 Hz, 12 dB/octave") != std::string::npos);
  CHECK(faults(filtered).find("low-pass on at about 3 kHz, 24 dB/octave") != std::string::npos);
  CHECK(filtered.channels[0].polarity->polarity == Polarity::in);

  rig = sound_van();
  front(rig).faults.bass_boost = Decibels(6.0);
  const std::string boosted = faults(bench.verify(rig));
  CHECK_MESSAGE(boosted.find("bass boost of +6.0 dB at 45 Hz") != std::string::npos, boosted);

  rig = sound_van();
  rig.head_unit.tone.loudness = true;
  const std::string loud = faults(bench.verify(rig));
  CHECK_MESSAGE(loud.find("loudness on") != std::string::npos, loud);

  rig = sound_van();
  rig.head_unit.tone.treble = Decibels(-6.0);
  const std::string dull = faults(bench.verify(rig));
  CHECK_MESSAGE(dull.find("treble cut") != std::string::npos, dull);
}

TEST_CASE("verify: a bass boost is found by the sweep and by steady tones, whatever the clock") {
  Bench bench;
  struct Way {
    double clock_ppm, pause_s;
  };
  for (const Way& way : {Way{-5000.0, 0.3}, Way{0.0, 7.7}, Way{5000.0, 2.4}}) {
    CAPTURE(way.clock_ppm);
    CAPTURE(way.pause_s);
    rig::Rig rig = sound_van();
    front(rig).faults.bass_boost = Decibels(6.0);
    rig.sound_card.clock_ppm = way.clock_ppm;
    const Verification found = bench.verify(rig, with_steady_tones(true, Seconds(way.pause_s)));
    for (const auto& channel : found.channels) {
      REQUIRE(channel.steady_tones.has_value());
      CHECK(channel.steady_tones->tones.size() == 11);
      const judge::Filter* swept = boost_in(channel.filters);
      const judge::Filter* steady = boost_in(channel.steady_tones->filters);
      REQUIRE(swept != nullptr);
      REQUIRE(steady != nullptr);
      // A sound card that is 0.5 % fast sees every frequency 0.5 % low.
      const double hz = 45.0 / (1.0 + way.clock_ppm * 1e-6);
      CHECK(test::within_rel(swept->frequency.value(), hz, 0.01));
      CHECK(test::within_rel(steady->frequency.value(), hz, 0.02));
      CHECK(test::within_abs(swept->gain.value(), 6.0, 0.1));
      CHECK(test::within_abs(steady->gain.value(), 6.0, 0.2));
      REQUIRE(channel.steady_tones->re_sweep.has_value());
      CHECK(test::within_abs(channel.steady_tones->re_sweep->value(), 0.0, 0.05));
      CHECK(test::within_abs(channel.steady_tones->most_off->magnitude.value(), 0.0, 0.1));
      for (const auto& tone : channel.steady_tones->tones)
        CHECK(tone.findings.verdict == judge::Verdict::clean);
    }
  }
}

TEST_CASE("verify: steady tones alone find the boost, and say what is not known") {
  Bench bench;
  rig::Rig rig = sound_van();
  front(rig).faults.bass_boost = Decibels(6.0);
  const std::string text = faults(bench.verify(rig, with_steady_tones(false, Seconds(1.0))));
  CHECK_MESSAGE(text.find("bass boost of +6.0 dB at 45 Hz") != std::string::npos, text);
  CHECK(text.find("Only steady tones were found") != std::string::npos);
  CHECK(text.find("No sweep") == std::string::npos);
}

TEST_CASE("verify: hiss, hum, whine and crosstalk are told") {
  Bench bench;
  rig::Rig rig = sound_van();
  rig.amplifiers[0].output.hiss = Volts(8e-3);
  front(rig).faults.hum = Volts(0.1);
  front(rig).faults.whine = Volts(0.05);
  front(rig).faults.crosstalk = Decibels(-20.0);
  const Verification found = bench.verify(rig);
  const auto& silence = *found.channels[0].silence;
  REQUIRE(silence.hiss_v.has_value());
  CHECK(test::within_db(silence.hiss_v->value(), 8e-3, 0.5));
  const auto line = [&](double hz) {
    return std::find_if(silence.lines.begin(), silence.lines.end(),
                        [&](const auto& l) { return std::abs(l.frequency.value() - hz) < 1.0; });
  };
  REQUIRE(line(50.0) != silence.lines.end());
  REQUIRE(line(2160.0) != silence.lines.end());
  CHECK(line(50.0)->kind == "hum");
  CHECK(line(2160.0)->kind == "whine");
  CHECK(test::within_db(line(2160.0)->level_v->value(), 0.05, 0.2));
  REQUIRE(found.pair.has_value());
  REQUIRE(found.pair->crosstalk.size() == 2);
  CHECK(test::within_abs(found.pair->crosstalk[0].level.value(), -20.0, 0.3));
  const std::string text = faults(found);
  CHECK(text.find("Crosstalk") != std::string::npos);
  CHECK(text.find("hiss") != std::string::npos);
}
