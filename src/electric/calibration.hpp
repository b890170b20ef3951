// SPDX-License-Identifier: MIT
// Volts for full scales: what a meter's reading of a recorded tone says about the recording.
#pragma once

#include <optional>

#include "electric/meter.hpp"
#include "units/quantity.hpp"

namespace railtap::electric {

/// A tone as it was recorded and read at the same time.
struct CalibrationTone {
  double rms_fs = 0.0;  ///< RMS in full scales (digital full scale = ±1), DC excluded, > 0
  double form_factor = sine_form_factor;  ///< RMS over rectified mean of the recorded waveform
  Decibels level_spread{0.0};             ///< highest over lowest level while it lasted, >= 0
  std::optional<Hertz> frequency;
  Volts reading{0.0};                ///< of the meter, at the terminals, > 0
  std::optional<Volts> typed_digit;  ///< one step of the reading's last digit as typed
  std::optional<Meter> meter;
  std::optional<Hertz> coupling_corner;  ///< of the recording input; needs the frequency
};

/// What was found.
struct Calibration {
  Volts volts_per_full_scale;    ///< peak volts between the terminals at digital full scale
  Volts true_rms;                ///< the reading, corrected for the meter's way of reading
  Decibels meter_correction;     ///< true RMS over reading
  Decibels coupling_correction;  ///< what the input's coupling takes from the tone, >= 0
  std::optional<Percent>
      uncertainty;  ///< limits of error of volts_per_full_scale, ±; none without a meter
};

/// volts per full scale = RMS volts/RMS full scales (derived: both belong to the same waveform).
/// What the input's coupling took from the tone is put back first, so the result holds in the
/// middle of the band.
///
/// The limits of error add the meter's own to half of the level's spread, both in their worst
/// direction: these are limits, not standard deviations. Not in it: what the meter's leads or the
/// load change. \throws Error for values that are not > 0, or a tone outside the meter's band
[[nodiscard]] Calibration calibrate(const CalibrationTone& tone);

/// How far a calibration may be from the calculated divider: more than parts of 5 % and an input's
/// resistance explain.
inline constexpr Decibels usual_deviation{2.0};

/// A calibration against what the divider and the input should give.
struct NominalComparison {
  Volts nominal;       ///< peak volts at digital full scale by calculation
  Decibels deviation;  ///< found over nominal
  bool plausible;      ///< |deviation| <= what was allowed
};

/// \param nominal > 0, \param allowed >= 0; \throws Error otherwise
[[nodiscard]] NominalComparison compare_with_nominal(const Calibration& calibration, Volts nominal,
                                                     Decibels allowed);

}  // namespace railtap::electric
