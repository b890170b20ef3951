// SPDX-License-Identifier: MIT
// The rig's settings put in terms of what can be measured.
#include "rig/truth.hpp"

#include <cmath>
#include <numbers>

#include "electric/target.hpp"

namespace railtap::rig {
namespace {

constexpr double percent = 0.01;

/// Peak of the nearer rail where its knee begins, re the rail.
double usable(const OutputStage& stage) {
  return (1.0 - percent * stage.asymmetry.value()) * (1.0 - percent * stage.knee.value());
}

Volts rated_volts(const Amplifier& amplifier) {
  return Volts(std::sqrt(amplifier.rated_power.value() * amplifier.rated_load.value()));
}

}  // namespace

Volts head_unit_rail(const Rig& rig) {
  return rig.supply.voltage - rig.head_unit.drop;
}

double volume_gain(const HeadUnit& unit, int step) {
  if (step == 0) return 0.0;
  return amplitude_ratio(-static_cast<double>(unit.steps - step) * unit.step_size);
}

Volts amplifier_rail(const Rig& rig, const Amplifier& amplifier) {
  if (amplifier.regulated) return amplifier.output.rail;
  return amplifier.output.rail * (rig.supply.voltage / electric::rated_supply);
}

Ohms sag_resistance(const Rig& rig, const Amplifier& amplifier) {
  double channels = 0.0;
  for (const Control& control : amplifier.controls) {
    channels += static_cast<double>(control.inputs.size());
  }
  const double ratio = amplifier_rail(rig, amplifier) / rig.supply.voltage;
  const double from_feed =
      amplifier.regulated ? 0.0
                          : ratio * ratio * channels / (percent * amplifier.efficiency.value());
  return amplifier.output.sag_resistance + rig.supply.feed_resistance * from_feed;
}

double gain(const Amplifier& amplifier, const Control& control) {
  const double range = amplifier.sensitivity_high / amplifier.sensitivity_low;
  const Volts sensitivity = amplifier.sensitivity_high / std::pow(range, control.travel);
  return rated_volts(amplifier) / sensitivity;
}

Volts clip_onset(const Rig& rig, const Amplifier& amplifier, std::optional<Ohms> load) {
  const Volts rail = amplifier_rail(rig, amplifier);
  const double share = usable(amplifier.output);
  if (!load) return rail * share / std::numbers::sqrt2;
  // Sine of inner peak p: mean rectified current (2/π)·p/R; p touches (rail − sag·current)·share.
  // With asymmetry the sag is taken off each rail alike.
  const Ohms all = *load + amplifier.output.output_resistance;
  const double knee = 1.0 - percent * amplifier.output.knee.value();
  const double fall = 2.0 / std::numbers::pi * (sag_resistance(rig, amplifier) / all);
  const Volts peak = rail * share / (1.0 + knee * fall);
  return peak * (*load / all) / std::numbers::sqrt2;
}

Volts head_unit_clip_onset(const Rig& rig) {
  return head_unit_rail(rig) * usable(rig.head_unit.output) / std::numbers::sqrt2;
}

int highest_clean_step(const Rig& rig, Dbfs level) {
  for (int step = rig.head_unit.steps; step > 0; --step) {
    const Volts output =
        rig.head_unit.full_output * volume_gain(rig.head_unit, step) * sine_peak(level);
    if (output <= head_unit_clip_onset(rig)) return step;
  }
  return 0;
}

Volts volts_per_full_scale(const Rig& rig) {
  const double attenuation = rig.tap.nominal_attenuation * (1.0 + percent * rig.tap.error.value());
  return rig.sound_card.full_scale * attenuation;
}

}  // namespace railtap::rig
