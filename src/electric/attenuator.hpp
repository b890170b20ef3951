// SPDX-License-Identifier: MIT
// The tap: a few resistors of preferred values between speaker terminals and a recording input.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::electric {

/// Series of preferred values per decade [IEC 60063]: E3, E12 and E24 rounded by hand in the 1940s,
/// E96 is round(100·10^(i/96)).
enum class Series { e3, e12, e24, e96 };

/// "E24", in either case. \throws Error with `name` as its place
[[nodiscard]] Series parse_series(std::string_view text, std::string_view name);
[[nodiscard]] std::string describe(Series series);

/// One decade of the series, from 1 up to below 10.
[[nodiscard]] std::vector<double> decade(Series series);

/// Every value of the series from `low` to `high`, both included, in ascending order; both > 0.
[[nodiscard]] std::vector<Ohms> values_between(Series series, Ohms low, Ohms high);

/// The smallest value of the series that is not below `value` (> 0).
[[nodiscard]] Farads at_least(Series series, Farads value);

/// What the tap is wanted for.
struct TapNeed {
  Volts max_voltage{0.0};       ///< largest RMS of a sine between the terminals, > 0
  Volts input_full_scale{0.0};  ///< RMS of a sine that just fills the recording input, > 0
  bool bridge_tied =
      false;  ///< both terminals are driven: one resistor and one capacitor in each leg
  Decibels headroom{
      3.0};  ///< above max_voltage, >= 0: an amplifier exceeds its rating before it clips
  std::optional<Ohms>
      input_resistance;                ///< of the recording input; none means that it loads nothing
  std::optional<Volts> plug_in_power;  ///< DC on a headset socket's contact: to be blocked
  Series series = Series::e24;
  std::optional<Farads> capacitor;  ///< what is at hand; else one is chosen
  Hertz highest_corner{2.0};  ///< of the coupling: a tenth of the lowest tone keeps its tops level
  Watts resistor_rating{0.25};
  Percent resistor_tolerance{1.0};
};

/// The parts.
struct TapParts {
  Ohms series_each{0.0};  ///< in the plus leg, bridge-tied in the minus leg too
  Ohms shunt{0.0};
  std::optional<Farads> leg_capacitor;     ///< in each leg of a bridge-tied tap
  std::optional<Farads> output_capacitor;  ///< towards a contact with plug-in power
};

/// What is wrong with a set of parts; empty when they serve.
enum class TapFault {
  too_little_attenuation,  ///< max_voltage and its headroom do not fit the input
  too_hot,                 ///< a resistor takes more than half of its rating
  corner_too_high,         ///< the coupling tilts the tops of a low tone
  loads_the_source,        ///< less than 1 kohm between the terminals
};

/// What the parts do. "Terminals" are the speaker's.
struct Tap {
  TapParts parts;
  double ratio;                        ///< input volts over terminal volts, loaded by the input
  Decibels gain, gain_unloaded;        ///< below zero
  Decibels gain_lowest, gain_highest;  ///< with every resistor at the end of its tolerance
  Ohms source_resistance;              ///< at the recording input
  Ohms terminal_resistance;            ///< at the amplifier
  Volts full_scale;       ///< RMS of a sine between the terminals that just fills the input
  Volts full_scale_peak;  ///< the same as a peak: volts per digital full scale
  Decibels headroom;      ///< full_scale over max_voltage
  Watts series_power, shunt_power;  ///< in each resistor, at max_voltage
  std::optional<Hertz> leg_corner, output_corner;
  Decibels loss_at_20_hz;                    ///< by all the coupling, >= 0
  Volts noise_at_input, noise_at_terminals;  ///< thermal, 20 Hz to 20 kHz, RMS
  std::optional<Decibels>
      grounded_leg_change;  ///< bridge-tied: of the gain, were the sleeve on the chassis
  std::vector<TapFault> faults;
};

/// Parts that attenuate just enough: the shunt low enough that the input's resistance matters
/// little, the series legs high enough that they stay cool and that a slip of a lead is harmless.
/// At least 6 dB, since it is the series resistors that protect. \throws Error for needs out of
/// range, or when no pair of the series serves
[[nodiscard]] TapParts choose_parts(const TapNeed& need);

/// The same resistors with the capacitors that the need calls for: one in each leg of a bridge-tied
/// tap, one at the output against plug-in power. What is at hand is used, else the next size [IEC
/// 60063, E3].
[[nodiscard]] TapParts with_capacitors(const TapNeed& need, TapParts parts);

/// Kirchhoff, with the input's resistance in parallel with the shunt (derived):
///   ratio = (R2∥RL)/(n·Rs + R2∥RL),  source resistance = n·Rs∥R2,  corner = 1/(2π·R·C), n legs.
/// Thermal noise √(4kTRB) of the source resistance at 300 K over 20 kHz [Johnson 1928, Nyquist
/// 1928]. \throws Error for needs or parts that are not > 0
[[nodiscard]] Tap evaluate(const TapNeed& need, const TapParts& parts);

/// "39 kΩ in each leg, 2.2 kΩ across the input".
[[nodiscard]] std::string describe_resistors(Ohms series_each, Ohms shunt, bool bridge_tied);

}  // namespace railtap::electric
