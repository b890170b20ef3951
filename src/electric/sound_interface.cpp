// SPDX-License-Identifier: MIT
// What a sound interface adds by itself.
#include "electric/sound_interface.hpp"

#include <algorithm>
#include <cmath>

#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::electric {
namespace {

double energy(Dbfs level) {
  return std::pow(10.0, level.value() / 10.0);
}

}  // namespace

Decibels coupling_loss(Hertz corner, Hertz frequency) {
  require_not_negative(corner, "coupling corner");
  require_positive(frequency, "frequency");
  const double ratio = corner / frequency;
  return Decibels(10.0 * std::log10(1.0 + ratio * ratio));
}

std::optional<Percent> own_thdn(const SoundInterface& interface, Dbfs level) {
  if (!interface.thdn || !interface.level) return std::nullopt;
  const double whole = interface.thdn->value() / 100.0;
  const double noise = interface.noise ? energy(*interface.noise) : 0.0;
  const double distortion = std::max(whole * whole - noise / energy(*interface.level), 0.0);
  return Percent(100.0 * std::sqrt(distortion + noise / energy(level)));
}

}  // namespace railtap::electric
