// SPDX-License-Identifier: MIT
// Copper cables: gauge, resistance, and the highest current they are rated for.
#include "electric/wire.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <numbers>

#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::electric {
namespace {

constexpr SquareMillimetres thinnest{0.1}, thickest{300.0};  // beyond, it is a typing mistake
constexpr int thickest_awg = -3;                             // 4/0
constexpr int thinnest_awg = 26;                             // 0.13 mm2

struct Row {
  double area_mm2, amperes;
};

/// [ISO 10133:2012, table A.1, insulation for 70 °C], from memory.
constexpr std::array<Row, 15> ampacity{{{0.75, 10.0},
                                        {1.0, 14.0},
                                        {1.5, 18.0},
                                        {2.5, 25.0},
                                        {4.0, 35.0},
                                        {6.0, 45.0},
                                        {10.0, 65.0},
                                        {16.0, 90.0},
                                        {25.0, 120.0},
                                        {35.0, 160.0},
                                        {50.0, 210.0},
                                        {70.0, 265.0},
                                        {95.0, 310.0},
                                        {120.0, 360.0},
                                        {150.0, 380.0}}};

[[noreturn]] void refuse(std::string_view text, std::string_view name) {
  throw Error("\"" + std::string(text) + "\" is no cable size", std::string(name),
              "write it like 16mm2, 6AWG or 1/0AWG");
}

/// What is left of "6 AWG" or "AWG 6"; nothing where it is not in AWG.
std::optional<std::string> awg_number(std::string_view text) {
  std::string compact;
  for (const char c : text) {
    if (c != ' ') compact += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  }
  constexpr std::string_view unit = "awg";
  if (compact.starts_with(unit)) return compact.substr(unit.size());
  if (compact.ends_with(unit)) return compact.substr(0, compact.size() - unit.size());
  return std::nullopt;
}

std::optional<int> whole_number(std::string_view text) {
  int value = 0;
  const auto result = std::from_chars(text.data(), text.data() + text.size(), value);
  if (result.ec != std::errc() || result.ptr != text.data() + text.size()) return std::nullopt;
  return value;
}

/// "6", "0", and "1/0" to "4/0" for 0 to −3.
std::optional<int> awg_in(std::string_view number) {
  const bool aughts = number.ends_with("/0");
  if (aughts) number.remove_suffix(2);
  const auto value = whole_number(number);
  if (!value || *value < (aughts ? 1 : 0)) return std::nullopt;
  const int awg = aughts ? 1 - *value : *value;
  return awg >= thickest_awg && awg <= thinnest_awg ? std::optional(awg) : std::nullopt;
}

SquareMillimetres area_of(int awg) {
  constexpr double mm_per_m = 1000.0;
  const double diameter_mm = awg_diameter(awg).value() * mm_per_m;
  return SquareMillimetres(std::numbers::pi / 4.0 * diameter_mm * diameter_mm);
}

}  // namespace

Metres awg_diameter(int awg) {
  constexpr double number_36_m = 0.127e-3;  // 0.005 inch
  constexpr double ratio = 92.0;            // of 4/0, 0.46 inch, over number 36
  constexpr double steps = 39.0;
  return Metres(number_36_m * std::pow(ratio, (36.0 - awg) / steps));
}

Gauge parse_gauge(std::string_view text, std::string_view name) {
  if (const auto number = awg_number(text)) {
    const auto awg = awg_in(*number);
    if (!awg) refuse(text, name);
    return {area_of(*awg), awg};
  }
  if (text.find('m') == std::string_view::npos) refuse(text, name);  // 6: of which kind?
  const auto area = parse_quantity<SquareMillimetres>(text, name);
  return {require_within(area, thinnest, thickest, name), std::nullopt};
}

std::string describe(const Gauge& gauge) {
  std::string area = format_quantity(gauge.area, 3);
  if (!gauge.awg) return area;
  const std::string number =
      *gauge.awg <= 0 ? std::to_string(1 - *gauge.awg) + "/0" : std::to_string(*gauge.awg);
  return number + " AWG (" + area + ")";
}

Ohms wire_resistance(const Gauge& gauge, Metres path) {
  return Ohms(copper_ohm_mm2_per_m * path.value() / gauge.area.value());
}

Decibels wire_loss(Ohms cable, Ohms load) {
  return decibels_from_amplitude_ratio(load / (load + cable));
}

std::optional<Amperes> cable_ampacity(const Gauge& gauge) {
  const double area = gauge.area.value();
  if (area < ampacity.front().area_mm2 || area > ampacity.back().area_mm2) return std::nullopt;
  const auto* const above =
      std::lower_bound(ampacity.begin(), ampacity.end(), area,
                       [](const Row& row, double wanted) { return row.area_mm2 < wanted; });
  if (above->area_mm2 == area) return Amperes(above->amperes);
  const Row& below = *(above - 1);
  const double share = std::log(area / below.area_mm2) / std::log(above->area_mm2 / below.area_mm2);
  return Amperes(below.amperes * std::pow(above->amperes / below.amperes, share));
}

}  // namespace railtap::electric
