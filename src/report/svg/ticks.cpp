// SPDX-License-Identifier: MIT
// Choosing round values for an axis.
#include "report/svg/plot.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace railtap::report::svg {
namespace {

constexpr std::array<double, 3> round_values{1.0, 2.0, 5.0};

/// The smallest 1, 2 or 5 times a power of ten that is not below a value > 0.
double round_up(double value) {
  const double decade = std::pow(10.0, std::floor(std::log10(value)));
  for (const double factor : round_values) {
    if (factor * decade >= value * (1.0 - 1e-9)) return factor * decade;
  }
  return 10.0 * decade;
}

double round_down(double value) {
  const double decade = std::pow(10.0, std::floor(std::log10(value)));
  for (auto factor = round_values.rbegin(); factor != round_values.rend(); ++factor) {
    if (*factor * decade <= value * (1.0 + 1e-9)) return *factor * decade;
  }
  return decade;
}

std::string fixed(double value, int decimals) {
  std::array<char, 64> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value,
                                 std::chars_format::fixed, decimals);
  std::string text(buffer.data(), end.ptr);
  const bool zero = text.find_first_of("123456789") == std::string::npos;
  if (zero && text.front() == '-') text.erase(0, 1);
  if (text.front() == '-') text.replace(0, 1, "\u2212");
  return text;
}

/// Decimals that a multiple of `step` needs.
int decimals_of(double step) {
  return std::max(0, static_cast<int>(-std::floor(std::log10(step) + 1e-9)));
}

std::string label_of(double value) {
  constexpr double kilo = 1000.0;
  if (value >= kilo) return fixed(value / kilo, 0) + "k";
  return fixed(value, decimals_of(value));
}

std::vector<Tick> linear_ticks(const Axis& axis, int most) {
  const double step = axis.step > 0.0 ? axis.step : round_up((axis.high - axis.low) / most);
  std::vector<Tick> out;
  const auto first = static_cast<int>(std::ceil(axis.low / step - 1e-6));
  const auto last = static_cast<int>(std::floor(axis.high / step + 1e-6));
  for (int i = first; i <= last; ++i) out.push_back({i * step, fixed(i * step, decimals_of(step))});
  return out;
}

/// Marks at 1, 2 and 5 where they fit, else at 1 only.
std::vector<Tick> logarithmic_ticks(const Axis& axis, int most) {
  const double decades = std::log10(axis.high / axis.low);
  const bool all = decades * static_cast<double>(round_values.size()) <= most;
  std::vector<Tick> out;
  const auto first = static_cast<int>(std::floor(std::log10(axis.low)));
  for (int power = first; std::pow(10.0, power) <= axis.high * 1.001; ++power) {
    for (const double factor : round_values) {
      const double value = factor * std::pow(10.0, power);
      const bool inside = value >= axis.low * 0.999 && value <= axis.high * 1.001;
      if (inside && (all || factor == 1.0)) out.push_back({value, label_of(value)});
    }
  }
  return out;
}

}  // namespace

double Axis::share(double value) const {
  const bool log = scale == Scale::logarithmic;
  if (log && value <= 0.0) return 0.0;
  const double place =
      log ? std::log(value / low) / std::log(high / low) : (value - low) / (high - low);
  return std::clamp(place, 0.0, 1.0);
}

std::vector<Tick> ticks(const Axis& axis, int most) {
  return axis.scale == Scale::linear ? linear_ticks(axis, most) : logarithmic_ticks(axis, most);
}

Axis linear_axis(std::string label, std::span<const double> values) {
  Axis axis{std::move(label), Scale::linear, 0.0, 1.0, 0.0};
  if (values.empty()) return axis;
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  constexpr double parts = 4.0;
  const double size = std::max(std::abs(*low), std::abs(*high));
  // Of a single value, a tenth of it; else no axis could be told from its label.
  const double range = *high > *low ? *high - *low : 0.1 * size;
  const double step = round_up(std::max({range / parts, 1e-3 * size, 1e-12}));
  axis.low = step * std::floor(*low / step);
  axis.high = step * std::ceil(*high / step);
  if (axis.high < *high) axis.high += step;  // rounding
  if (axis.low > *low) axis.low -= step;
  if (axis.high <= axis.low) axis.high = axis.low + step;
  return axis;
}

Axis logarithmic_axis(std::string label, std::span<const double> values) {
  Axis axis{std::move(label), Scale::logarithmic, 1.0, 10.0, 0.0};
  double low = 0.0, high = 0.0;
  for (const double value : values) {
    if (!(value > 0.0)) continue;
    low = low == 0.0 ? value : std::min(low, value);
    high = std::max(high, value);
  }
  if (low == 0.0) return axis;
  axis.low = round_down(low);
  axis.high = round_up(high);
  if (axis.high <= axis.low) axis.high = 10.0 * axis.low;
  return axis;
}

std::string coordinate(double value) {
  std::array<char, 64> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value,
                                 std::chars_format::fixed, 1);
  std::string text(buffer.data(), end.ptr);
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text == "-0" ? "0" : text;
}

}  // namespace railtap::report::svg
