// SPDX-License-Identifier: MIT
// Volts for full scales: what a meter's reading of a recorded tone says about the recording.
#include "electric/calibration.hpp"

#include <cmath>

#include "electric/sound_interface.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::electric {
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
