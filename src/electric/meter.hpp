// SPDX-License-Identifier: MIT
// What an AC voltmeter's reading means: its error band, its frequency band, and how it responds to
// a waveform, a sine cut flat among them.
#pragma once

#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::electric {

// What a sine becomes when both its tops are cut flat: distortion, power, and what meters make of
// it.

/// A sine of peak 1 cut at ±c, as plain numbers re that peak.
struct HardClip {
  double clip_ratio;   ///< c, 0 < c <= 1
  double fundamental;  ///< peak of the fundamental
  double mean_square;  ///< square of the RMS
  double mean_abs;     ///< mean of the rectified waveform
  Percent thd;         ///< RMS of all harmonics over the RMS of the fundamental
  double power_gain;   ///< power over the power at the onset of clipping, for a rail that stays
                       ///< where it is
};

/// The closed form, from the Fourier integrals of y = clamp(sin x, −c, c) with t = asin c:
///   b1 = (2/π)(t + c·√(1−c²)),  mean square = (t − c·√(1−c²))/π + c²(1 − 2t/π),
///   mean |y| = (2/π)(1 − cos t + c(π/2 − t)),  THD = √(2·ms − b1²)/b1  (derived here, no band
///   limit).
/// \param overdrive how far the sine would exceed the rail, −20·log10(c); 0 … 200 dB
/// \throws Error for a negative overdrive or one that is not finite
[[nodiscard]] HardClip hard_clip(Decibels overdrive);

// What an AC voltmeter's reading means: its error band, its frequency band, and how it responds to
// a waveform.

/// How a meter gets from a waveform to its reading.
enum class MeterType {
  average_responding,  ///< rectified mean, scaled to be right on a sine: most meters without "true
                       ///< RMS" on them
  true_rms
};

/// A meter, as its manual describes its AC volts.
struct Meter {
  MeterType type = MeterType::average_responding;
  bool type_assumed = true;               ///< no type was given
  Percent of_reading{0.0};                ///< first part of ±(1.2 % + 5)
  int counts = 0;                         ///< second part: steps of the last digit
  std::optional<Volts> resolution;        ///< one step of the last digit on the range in use
  std::optional<int> display_counts;      ///< "2000 counts": the largest number it shows, plus one
  std::optional<Hertz> lowest_frequency;  ///< its AC band, where the accuracy holds
  std::optional<Hertz> highest_frequency;
};

/// RMS over rectified mean of a sine, π/(2√2) = 1.1107: the factor an average-responding meter
/// applies to every waveform.
inline constexpr double sine_form_factor = std::numbers::pi / (2.0 * std::numbers::sqrt2);

/// Reads a meter's description: parts separated by commas, in any order, of which only the accuracy
/// is needed:
///   1.2%+5          accuracy, ±(1.2 % of the reading + 5 counts); brackets and ± may be typed
///   0.01V           one step of the last digit on the range in use, or instead of it
///   2000 counts     the size of the display, from which that step follows, for a meter on the
///                   lowest decade range (2, 20, 200 V) that shows the reading; with neither, the
///                   step is that of the reading as it was typed
///   average | true-rms   (average when not given)
///   400Hz | 40-400Hz     the AC band in which the accuracy holds
/// \throws Error with `name` as its place
[[nodiscard]] Meter parse_meter(std::string_view text, std::string_view name);

/// The same in words for a report, "(assumed)" behind a type that was not given; parse_meter reads
/// it back.
[[nodiscard]] std::string describe(const Meter& meter);

/// What the description leaves open, and what is taken instead; empty where it leaves nothing open.
[[nodiscard]] std::vector<std::string> assumptions(const Meter& meter);

/// One step of the last digit of a reading as it was typed: 0.01 V for "14.10V".
/// \throws Error where `typed` is no AC voltage
[[nodiscard]] Volts last_digit(std::string_view typed, std::string_view name);

/// A reading with its limits of error; low >= 0.
struct ReadingBand {
  Volts reading;
  Volts uncertainty;  ///< half width
  Volts low, high;
  Volts last_digit;
};

/// reading ± (percent of reading + counts · last digit), the limits of error that makers of meters
/// state (common practice in their manuals). The last digit is the meter's own where it is known,
/// else `typed`. \param reading >= 0 \throws Error where the meter counts digits and neither knows
/// their size
[[nodiscard]] ReadingBand reading_band(const Meter& meter, Volts reading,
                                       std::optional<Volts> typed);

/// Limits of the power that belong to the band: V²/R at either end. To first order twice the
/// relative error of the voltage. \param load > 0
struct PowerBand {
  Watts power, low, high;
};
[[nodiscard]] PowerBand power_band(const ReadingBand& band, Ohms load);

/// \throws Error, with advice, where the tone lies outside the band in which the meter's accuracy
/// holds: nothing is known about a reading there.
void require_in_band(const Meter& meter, Hertz tone, std::string_view name);

/// True RMS of a waveform whose RMS over rectified mean is `form_factor` (>= 1), from the meter's
/// reading. A true-RMS meter's reading is returned as it is.
[[nodiscard]] Volts true_rms_from_reading(const Meter& meter, Volts reading, double form_factor);

}  // namespace railtap::electric
