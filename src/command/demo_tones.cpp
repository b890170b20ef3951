// SPDX-License-Identifier: MIT
// What the demo plays, written as files first.
#include "command/demo_tones.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "units/print.hpp"

namespace railtap::command {
namespace {

constexpr Hertz kilohertz{1000.0};

signal::Track track_of(const std::string& name, signal::Signal signal,
                       signal::MarkerBand marker = signal::MarkerBand::none) {
  signal::Track track;
  track.name = name;
  track.title = signal::describe(signal);
  track.parts = {{std::move(signal), signal::Channels::both, marker}};
  return track;
}

std::string named(const std::string& kind, Hertz frequency) {
  return kind + "-" + std::to_string(std::lround(frequency.value())) + "hz";
}

/// 1 kHz where the meter can read it, else a lower tone that it can.
Hertz calibration_tone(const electric::Meter& meter) {
  constexpr Hertz lower{200.0};
  for (const Hertz tone : {kilohertz, lower}) {
    const bool high_enough = !meter.lowest_frequency || tone >= *meter.lowest_frequency;
    const bool low_enough = !meter.highest_frequency || tone <= *meter.highest_frequency;
    if (high_enough && low_enough) return tone;
  }
  return meter.highest_frequency.value_or(lower);
}

std::filesystem::path write_sine(const DemoFolder& folder, const std::string& name, Hertz frequency,
                                 Seconds length) {
  return write_tone(folder, track_of(name, signal::Sine{frequency, demo_level, length}));
}

/// The marker that passes the filters that a channel with this set-up tone may have.
signal::MarkerBand marker_for(Hertz tone) {
  constexpr Hertz bass_below{200.0};
  return tone < bass_below ? signal::MarkerBand::low : signal::MarkerBand::mid;
}

ControlTones write_control_tones(const DemoFolder& folder, Hertz tone) {
  const signal::LevelLadder ladder{tone, demo_level - ladder_range, demo_level, ladder_step,
                                   ladder_dwell};
  return {write_sine(folder, named("turn", tone), tone, Seconds(1.0)),
          write_sine(folder, named("set", tone), tone, Seconds(2.0)),
          write_tone(folder, track_of(named("ladder", tone), ladder, marker_for(tone)))};
}

}  // namespace

int first_volume(const Bench& bench) {
  return std::max(1, bench.volume_steps * 3 / 5);
}

DemoTones write_tones(const Bench& bench, const DemoFolder& folder) {
  DemoTones tones;
  tones.calibration_tone = calibration_tone(bench.meter);
  tones.calibration = write_sine(folder, named("calibration", tones.calibration_tone),
                                 tones.calibration_tone, Seconds(2.0));
  const double steps = bench.volume_steps - first_volume(bench) + 1;
  tones.volume = write_sine(folder, named("volume", kilohertz), kilohertz,
                            volume_dwell * steps + Seconds(0.2) + bench.way_back);
  tones.silence = write_tone(folder, track_of("silence", signal::Silence{Seconds(1.5)}));
  tones.verify = write_verify_tracks(bench, folder);
  for (const ControlPlate& plate : bench.controls) {
    tones.controls.push_back(write_control_tones(folder, plate.setup_tone));
  }
  return tones;
}

}  // namespace railtap::command
