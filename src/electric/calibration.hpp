// SPDX-License-Identifier: MIT
// A recording input: the volts of its full scale from a meter's reading, and what it adds by
// itself.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "electric/meter.hpp"
#include "units/quantity.hpp"

namespace railtap::electric {

/// The response at one frequency: recorded over played.
struct InterfaceResponse {
  Hertz frequency{0.0};
  Decibels magnitude{0.0};
  double phase_deg = 0.0;  ///< with the delay taken out, ±180
};

/// Output and input together; of a part that could not be known there is none.
struct SoundInterface {
  std::string device;  ///< the input's name; empty: not known
  std::string date;    ///< ISO 8601
  Hertz rate{0.0};
  std::vector<InterfaceResponse> response;
  std::optional<Percent> thdn;           ///< of a steady tone
  std::optional<Dbfs> level;             ///< of that tone, as recorded
  std::optional<Dbfs> noise, noise_a;    ///< in silence: flat in the measuring band, A-weighted
  std::optional<Hertz> coupling_corner;  ///< of a high-pass of first order
};

/// By how much a high-pass of first order lowers a sine: 10·log10(1 + (corner/f)²), >= 0 (derived
/// from |H| = 1/√(1 + (corner/f)²)). \param corner >= 0 \param frequency > 0 \throws Error
/// otherwise
[[nodiscard]] Decibels coupling_loss(Hertz corner, Hertz frequency);

/// The response at the measured frequency nearest to `frequency`, relative to that nearest to 1
/// kHz. None without a response. \param frequency > 0
[[nodiscard]] std::optional<Decibels> response_at(const SoundInterface& interface, Hertz frequency);

/// The THD+N that the interface alone would show on a tone of some level: its noise over the tone,
/// and its distortion at the level at which it was measured, added as energies. Distortion of a
/// softer tone is less, so this is the upper bound. None where THD+N was not measured.
[[nodiscard]] std::optional<Percent> own_thdn(const SoundInterface& interface, Dbfs level);

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
