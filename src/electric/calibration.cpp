// SPDX-License-Identifier: MIT
// A recording input: the volts of its full scale from a meter's reading, and what it adds by
// itself.
#include "electric/calibration.hpp"

#include <algorithm>
#include <cmath>

#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::electric {
namespace {

double energy(Dbfs level) {
  return std::pow(10.0, level.value() / 10.0);
}

const InterfaceResponse* nearest(const SoundInterface& interface, Hertz to) {
  const InterfaceResponse* best = nullptr;
  const auto distance = [to](const auto& point) {
    return std::abs(std::log(point.frequency / to));
  };
  for (const auto& point : interface.response) {
    if (best == nullptr || distance(point) < distance(*best)) best = &point;
  }
  return best;
}

}  // namespace

std::optional<Decibels> response_at(const SoundInterface& interface, Hertz frequency) {
  constexpr Hertz reference{1000.0};
  if (interface.response.empty()) return std::nullopt;
  return nearest(interface, frequency)->magnitude - nearest(interface, reference)->magnitude;
}

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

namespace {

std::optional<Percent> uncertainty_of(const CalibrationTone& tone) {
  if (!tone.meter) return std::nullopt;
  const auto band = reading_band(*tone.meter, tone.reading, tone.typed_digit);
  const double of_meter = band.uncertainty / tone.reading;
  const double of_level = amplitude_ratio(tone.level_spread / 2.0) - 1.0;
  return Percent(100.0 * (of_meter + of_level));
}

Decibels coupling_of(const CalibrationTone& tone) {
  if (!tone.coupling_corner) return Decibels(0.0);
  if (!tone.frequency) {
    throw Error("the tone's frequency is not known, and the coupling's loss depends on it",
                "calibration", "record a steady tone");
  }
  return coupling_loss(*tone.coupling_corner, *tone.frequency);
}

}  // namespace

Calibration calibrate(const CalibrationTone& tone) {
  require_positive(tone.reading, "reading");
  require_not_negative(tone.level_spread, "level spread");
  if (!(tone.rms_fs > 0.0) || !std::isfinite(tone.rms_fs)) {
    throw Error("the recorded tone has no level", "calibration", "record the tone that is read");
  }
  if (tone.meter && tone.frequency) require_in_band(*tone.meter, *tone.frequency, "the tone");
  const Volts true_rms = tone.meter
                             ? true_rms_from_reading(*tone.meter, tone.reading, tone.form_factor)
                             : tone.reading;
  const Decibels coupling = coupling_of(tone);
  const double rms_fs = tone.rms_fs * amplitude_ratio(coupling);
  return {true_rms / rms_fs, true_rms, decibels_from_amplitude_ratio(true_rms / tone.reading),
          coupling, uncertainty_of(tone)};
}

NominalComparison compare_with_nominal(const Calibration& calibration, Volts nominal,
                                       Decibels allowed) {
  require_positive(nominal, "nominal full scale");
  require_not_negative(allowed, "allowed deviation");
  const Decibels deviation =
      decibels_from_amplitude_ratio(calibration.volts_per_full_scale / nominal);
  return {nominal, deviation, std::abs(deviation.value()) <= allowed.value()};
}

}  // namespace railtap::electric
