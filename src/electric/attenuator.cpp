// SPDX-License-Identifier: MIT
// The tap: a few resistors of preferred values between speaker terminals and a recording input.
#include "electric/attenuator.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::electric {
namespace {

// [IEC 60063]. Rounding 10^(i/24) would give 2.6, 2.9, 3.2 … where the standard keeps the older
// values.
constexpr std::array<double, 3> e3{1.0, 2.2, 4.7};
constexpr std::array<double, 12> e12{1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2};
constexpr std::array<double, 24> e24{1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
                                     3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1};
constexpr int values_of_e96 = 96;

// A computed value may lie a rounding error away from the preferred one that it is meant to be.
constexpr double rounding = 1e-9;

std::vector<double> e96() {
  std::vector<double> values;
  values.reserve(values_of_e96);
  for (int i = 0; i < values_of_e96; ++i) {
    values.push_back(std::round(100.0 * std::pow(10.0, i / static_cast<double>(values_of_e96))) /
                     100.0);
  }
  return values;
}

/// mantissa × 10^exponent, from the whole number that a hundred times the mantissa is: 8.2 × 100 is
/// not 820 in doubles, 820 × 1 is.
double scaled(double mantissa, int exponent) {
  const double hundredfold = std::round(100.0 * mantissa);
  const double scale = std::pow(10.0, std::abs(exponent - 2));
  return exponent < 2 ? hundredfold / scale : hundredfold * scale;
}

int decade_of(double value) {
  return static_cast<int>(std::floor(std::log10(value)));
}

}  // namespace

Series parse_series(std::string_view text, std::string_view name) {
  for (const auto series : {Series::e12, Series::e24, Series::e96}) {
    const std::string word = describe(series);
    if (text == word || (text.starts_with('e') && text.substr(1) == word.substr(1))) return series;
  }
  throw Error("\"" + std::string(text) + "\" is no series of preferred values", std::string(name),
              "give E12, E24 or E96");
}

std::string describe(Series series) {
  switch (series) {
    case Series::e3:
      return "E3";
    case Series::e12:
      return "E12";
    case Series::e24:
      return "E24";
    case Series::e96:
      break;
  }
  return "E96";
}

std::vector<double> decade(Series series) {
  switch (series) {
    case Series::e3:
      return {e3.begin(), e3.end()};
    case Series::e12:
      return {e12.begin(), e12.end()};
    case Series::e24:
      return {e24.begin(), e24.end()};
    case Series::e96:
      break;
  }
  return e96();
}

std::vector<Ohms> values_between(Series series, Ohms low, Ohms high) {
  require_positive(low, "lowest value");
  require_positive(high, "highest value");
  std::vector<Ohms> values;
  const auto mantissas = decade(series);
  for (int exponent = decade_of(low.value()) - 1; exponent <= decade_of(high.value()); ++exponent) {
    for (const double mantissa : mantissas) {
      const double value = scaled(mantissa, exponent);
      const bool fits =
          value >= low.value() * (1.0 - rounding) && value <= high.value() * (1.0 + rounding);
      if (fits) values.emplace_back(value);
    }
  }
  return values;
}

Farads at_least(Series series, Farads value) {
  const double wanted = require_positive(value, "capacitance").value() * (1.0 - rounding);
  const int exponent = decade_of(wanted);
  for (const double mantissa : decade(series)) {
    if (scaled(mantissa, exponent) >= wanted) return Farads(scaled(mantissa, exponent));
  }
  return Farads(scaled(1.0, exponent + 1));
}

namespace {

// At least 6 dB: with less, hardly any series resistance would be left between the amplifier and
// the input.
constexpr double highest_ratio = 0.5;
// The input's own resistance is known roughly; at a tenth of it the source changes the level by 0.8
// dB, and a 20 % error in it by 0.15 dB.
constexpr double source_share_of_input = 0.1;
// Above this source resistance a cable and an input pick up hum easily (common practice).
constexpr Ohms highest_source{2200.0};
constexpr Ohms lowest_shunt{10.0};
// The legs together: low enough for low noise, high enough that a lead that slips to the chassis
// carries a few milliamperes.
constexpr Ohms lowest_legs{5000.0}, usual_legs{20000.0}, highest_legs{400000.0};
constexpr Ohms least_terminal_resistance{1000.0};
// A square wave of the same peak has twice the power of a sine, so a resistor works at half its
// rating.
constexpr double usable_share_of_rating = 0.5;
// An octave away from the usual legs counts as much as a quarter of a decibel of lost level.
constexpr double decibels_per_octave_of_legs = 0.25;

constexpr double boltzmann = 1.380649e-23;  // J/K, exact by definition [SI 2019]
constexpr double temperature_k = 300.0;
constexpr double noise_bandwidth_hz = 20000.0 - 20.0;
constexpr Hertz lowest_audible{20.0};

double legs_of(const TapNeed& need) {
  return need.bridge_tied ? 2.0 : 1.0;
}

double parallel(double a, double b) {
  return a * b / (a + b);
}

double loaded(Ohms shunt, std::optional<Ohms> input) {
  return input ? parallel(shunt.value(), input->value()) : shunt.value();
}

double ratio_of(double legs_ohm, double lower_ohm) {
  return lower_ohm / (legs_ohm + lower_ohm);
}

double wanted_ratio(const TapNeed& need) {
  const Volts top = need.max_voltage * amplitude_ratio(need.headroom);
  return std::min(highest_ratio, need.input_full_scale / top);
}

void check(const TapNeed& need) {
  require_positive(need.max_voltage, "max voltage");
  require_positive(need.input_full_scale, "input full scale");
  require_not_negative(need.headroom, "headroom");
  if (need.input_resistance) require_positive(*need.input_resistance, "input resistance");
  if (need.plug_in_power) require_positive(*need.plug_in_power, "plug-in power");
  if (need.capacitor) require_positive(*need.capacitor, "capacitor");
  require_positive(need.highest_corner, "corner");
  require_positive(need.resistor_rating, "resistor rating");
  require_within(need.resistor_tolerance, Percent(0.0), Percent(20.0), "resistor tolerance");
}

double power_in(double ohms, double total_ohm, Volts across) {
  const double current = across.value() / total_ohm;
  return current * current * ohms;
}

bool is_cool(const TapNeed& need, double legs_ohm, Ohms shunt) {
  const double total = legs_ohm + loaded(shunt, need.input_resistance);
  const double in_leg = power_in(legs_ohm / legs_of(need), total, need.max_voltage);
  const double in_shunt = power_in(shunt.value(), total, need.max_voltage);
  return std::max(in_leg, in_shunt) <= usable_share_of_rating * need.resistor_rating.value();
}

/// What a pair costs, in decibels: level given away, and legs of an unusual size. Infinite if it
/// does not serve.
double cost_of(const TapNeed& need, Ohms series, Ohms shunt, double wanted) {
  constexpr double does_not_serve = std::numeric_limits<double>::infinity();
  const double legs_ohm = series.value() * legs_of(need);
  const double ratio = ratio_of(legs_ohm, loaded(shunt, need.input_resistance));
  if (ratio > wanted || !is_cool(need, legs_ohm, shunt)) return does_not_serve;
  const double given_away = 20.0 * std::log10(wanted / ratio);
  const double octaves = std::abs(std::log2(legs_ohm / usual_legs.value()));
  return given_away + decibels_per_octave_of_legs * octaves;
}

Farads capacitor_for(const TapNeed& need, double path_ohm, double in_series) {
  if (need.capacitor) return *need.capacitor;
  const double farads =
      in_series / (2.0 * std::numbers::pi * path_ohm * need.highest_corner.value());
  return at_least(Series::e3, Farads(farads));
}

std::optional<Hertz> corner_of(std::optional<Farads> capacitor, double in_series, double path_ohm) {
  if (!capacitor) return std::nullopt;
  return Hertz(in_series / (2.0 * std::numbers::pi * path_ohm * capacitor->value()));
}

/// First-order high-pass: 10·log10(1 + (fc/f)²).
Decibels coupling_loss(std::optional<Hertz> corner, Hertz at) {
  if (!corner) return Decibels(0.0);
  const double x = *corner / at;
  return decibels_from_power_ratio(1.0 + x * x);
}

double thermal_noise(double ohms) {
  return std::sqrt(4.0 * boltzmann * temperature_k * ohms * noise_bandwidth_hz);
}

void add_gains(Tap& tap, const TapNeed& need, double legs_ohm) {
  const double shunt = tap.parts.shunt.value();
  const double lower = loaded(tap.parts.shunt, need.input_resistance);
  const double off = need.resistor_tolerance.value() / 100.0;
  const auto gain = [](double legs, double rest) {
    return decibels_from_amplitude_ratio(ratio_of(legs, rest));
  };
  tap.ratio = ratio_of(legs_ohm, lower);
  tap.gain = gain(legs_ohm, lower);
  tap.gain_unloaded = gain(legs_ohm, shunt);
  tap.gain_lowest =
      gain(legs_ohm * (1.0 + off), loaded(Ohms(shunt * (1.0 - off)), need.input_resistance));
  tap.gain_highest =
      gain(legs_ohm * (1.0 - off), loaded(Ohms(shunt * (1.0 + off)), need.input_resistance));
  if (need.bridge_tied) {
    // One leg then has half of the bridge's voltage over one series resistor, the other none.
    const double one_leg = ratio_of(tap.parts.series_each.value(), lower) / 2.0;
    tap.grounded_leg_change = decibels_from_amplitude_ratio(one_leg / tap.ratio);
  }
}

void add_levels(Tap& tap, const TapNeed& need) {
  tap.full_scale = need.input_full_scale / tap.ratio;
  tap.full_scale_peak = tap.full_scale * std::numbers::sqrt2;
  tap.headroom = decibels_from_amplitude_ratio(tap.full_scale / need.max_voltage);
  const double source = need.input_resistance ? parallel(tap.source_resistance.value(),
                                                         need.input_resistance->value())
                                              : tap.source_resistance.value();
  tap.noise_at_input = Volts(thermal_noise(source));
  tap.noise_at_terminals = tap.noise_at_input / tap.ratio;
}

void add_coupling(Tap& tap, const TapNeed& need) {
  tap.leg_corner =
      corner_of(tap.parts.leg_capacitor, legs_of(need), tap.terminal_resistance.value());
  const double output_path =
      tap.source_resistance.value() + need.input_resistance.value_or(Ohms(0.0)).value();
  tap.output_corner = corner_of(tap.parts.output_capacitor, 1.0, output_path);
  tap.loss_at_20_hz = coupling_loss(tap.leg_corner, lowest_audible) +
                      coupling_loss(tap.output_corner, lowest_audible);
}

void add_faults(Tap& tap, const TapNeed& need, double legs_ohm) {
  // The headroom that choose_parts aims at, less a rounding error.
  if (tap.headroom.value() < need.headroom.value() - 1e-9) {
    tap.faults.push_back(TapFault::too_little_attenuation);
  }
  if (!is_cool(need, legs_ohm, tap.parts.shunt)) tap.faults.push_back(TapFault::too_hot);
  const double limit = need.highest_corner.value() * (1.0 + 1e-9);
  const bool tilts = (tap.leg_corner && tap.leg_corner->value() > limit) ||
                     (tap.output_corner && tap.output_corner->value() > limit);
  if (tilts) tap.faults.push_back(TapFault::corner_too_high);
  if (tap.terminal_resistance < least_terminal_resistance) {
    tap.faults.push_back(TapFault::loads_the_source);
  }
}

}  // namespace

TapParts choose_parts(const TapNeed& need) {
  check(need);
  const double wanted = wanted_ratio(need);
  const Ohms highest_shunt =
      need.input_resistance
          ? std::min(highest_source, *need.input_resistance * source_share_of_input)
          : highest_source;
  const auto legs =
      values_between(need.series, lowest_legs / legs_of(need), highest_legs / legs_of(need));
  double best_cost = std::numeric_limits<double>::infinity();
  TapParts best;
  for (const Ohms shunt :
       values_between(need.series, lowest_shunt, std::max(lowest_shunt, highest_shunt))) {
    for (const Ohms series : legs) {
      const double cost = cost_of(need, series, shunt, wanted);
      if (cost >= best_cost) continue;
      best_cost = cost;
      best.series_each = series;
      best.shunt = shunt;
    }
  }
  if (std::isinf(best_cost)) {
    throw Error("no pair of " + describe(need.series) + " resistors brings " +
                    format_quantity(need.max_voltage) + " down to " +
                    format_quantity(need.input_full_scale),
                "the tap", "check both voltages, or allow resistors of a higher rating");
  }
  return with_capacitors(need, best);
}

TapParts with_capacitors(const TapNeed& need, TapParts parts) {
  check(need);
  require_positive(parts.series_each, "series resistor");
  require_positive(parts.shunt, "shunt resistor");
  const double legs_ohm = parts.series_each.value() * legs_of(need);
  if (need.bridge_tied) {
    const double path = legs_ohm + loaded(parts.shunt, need.input_resistance);
    parts.leg_capacitor = capacitor_for(need, path, 2.0);
  }
  if (need.plug_in_power) {
    const double source = parallel(legs_ohm, parts.shunt.value());
    parts.output_capacitor =
        capacitor_for(need, source + need.input_resistance.value_or(Ohms(0.0)).value(), 1.0);
  }
  return parts;
}

Tap evaluate(const TapNeed& need, const TapParts& parts) {
  check(need);
  require_positive(parts.series_each, "series resistor");
  require_positive(parts.shunt, "shunt resistor");
  const double legs_ohm = parts.series_each.value() * legs_of(need);
  const double total = legs_ohm + loaded(parts.shunt, need.input_resistance);
  Tap tap{};
  tap.parts = parts;
  tap.source_resistance = Ohms(parallel(legs_ohm, parts.shunt.value()));
  tap.terminal_resistance = Ohms(total);
  tap.series_power = Watts(power_in(parts.series_each.value(), total, need.max_voltage));
  add_gains(tap, need, legs_ohm);
  const double across_shunt = need.max_voltage.value() * tap.ratio;
  tap.shunt_power = Watts(across_shunt * across_shunt / parts.shunt.value());
  add_levels(tap, need);
  add_coupling(tap, need);
  add_faults(tap, need, legs_ohm);
  return tap;
}

std::string describe_resistors(Ohms series_each, Ohms shunt, bool bridge_tied) {
  return format_quantity(series_each) + (bridge_tied ? " in each leg, " : " in series, ") +
         format_quantity(shunt) + " across the input";
}

}  // namespace railtap::electric
