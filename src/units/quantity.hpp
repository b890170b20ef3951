// SPDX-License-Identifier: MIT
// Physical quantities as types, so that volts cannot be passed where ohms are meant.
#pragma once

#include <cmath>
#include <compare>

namespace railtap {

/// A number with a unit that the type names. Conversions between units are named functions, never
/// implicit. Arithmetic is what a quantity allows: sums of its own kind, scaling by a number, and
/// the ratio of two of its own kind.
template <class Unit>
class Quantity {
 public:
  constexpr Quantity() = default;
  explicit constexpr Quantity(double value) : value_(value) {}

  /// The number in the unit that the type names (volts, ohms, ...).
  [[nodiscard]] constexpr double value() const { return value_; }

  constexpr auto operator<=>(const Quantity&) const = default;

  constexpr Quantity operator-() const { return Quantity(-value_); }
  constexpr Quantity& operator+=(Quantity other) {
    value_ += other.value_;
    return *this;
  }
  constexpr Quantity& operator-=(Quantity other) {
    value_ -= other.value_;
    return *this;
  }
  friend constexpr Quantity operator+(Quantity a, Quantity b) {
    return Quantity(a.value_ + b.value_);
  }
  friend constexpr Quantity operator-(Quantity a, Quantity b) {
    return Quantity(a.value_ - b.value_);
  }
  friend constexpr Quantity operator*(Quantity a, double s) { return Quantity(a.value_ * s); }
  friend constexpr Quantity operator*(double s, Quantity a) { return Quantity(a.value_ * s); }
  friend constexpr Quantity operator/(Quantity a, double s) { return Quantity(a.value_ / s); }
  friend constexpr double operator/(Quantity a, Quantity b) { return a.value_ / b.value_; }

 private:
  double value_ = 0.0;
};

using Volts = Quantity<struct VoltsUnit>;
using Watts = Quantity<struct WattsUnit>;
using Ohms = Quantity<struct OhmsUnit>;
using Amperes = Quantity<struct AmperesUnit>;
using Farads = Quantity<struct FaradsUnit>;
using Hertz = Quantity<struct HertzUnit>;
using Seconds = Quantity<struct SecondsUnit>;
using Metres = Quantity<struct MetresUnit>;
using SquareMillimetres = Quantity<struct SquareMillimetresUnit>;
using Percent = Quantity<struct PercentUnit>;

/// A ratio of two levels: 20·log10 of an amplitude ratio, 10·log10 of a power ratio.
using Decibels = Quantity<struct DecibelsUnit>;

/// A level relative to digital full scale. 0 dBFS is the RMS of a full-scale sine
/// [AES17-2015, 3.12.3].
class Dbfs {
 public:
  constexpr Dbfs() = default;
  explicit constexpr Dbfs(double value) : value_(value) {}
  [[nodiscard]] constexpr double value() const { return value_; }
  constexpr auto operator<=>(const Dbfs&) const = default;
  friend constexpr Dbfs operator+(Dbfs level, Decibels change) {
    return Dbfs(level.value_ + change.value());
  }
  friend constexpr Dbfs operator-(Dbfs level, Decibels change) {
    return Dbfs(level.value_ - change.value());
  }
  friend constexpr Decibels operator-(Dbfs a, Dbfs b) { return Decibels(a.value_ - b.value_); }

 private:
  double value_ = 0.0;
};

/// 20·log10(ratio) of two amplitudes; ratio > 0 (0 gives −infinity).
[[nodiscard]] inline Decibels decibels_from_amplitude_ratio(double ratio) {
  return Decibels(20.0 * std::log10(ratio));
}

/// 10·log10(ratio) of two powers; ratio > 0 (0 gives −infinity).
[[nodiscard]] inline Decibels decibels_from_power_ratio(double ratio) {
  return Decibels(10.0 * std::log10(ratio));
}

/// 10^(dB/20), the amplitude ratio.
[[nodiscard]] inline double amplitude_ratio(Decibels level) {
  return std::pow(10.0, level.value() / 20.0);
}

/// Peak amplitude, in full scales, of a sine at this level: 1 at 0 dBFS.
[[nodiscard]] inline double sine_peak(Dbfs level) {
  return std::pow(10.0, level.value() / 20.0);
}

/// The level of a sine of this peak amplitude in full scales (> 0).
[[nodiscard]] inline Dbfs dbfs_from_sine_peak(double peak_fs) {
  return Dbfs(20.0 * std::log10(peak_fs));
}

}  // namespace railtap
