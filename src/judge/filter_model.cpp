// SPDX-License-Identifier: MIT
// Responses of analog filter prototypes, and their names.
#include "judge/filters.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/sentence.hpp"
#include "units/print.hpp"

namespace railtap::judge {
namespace {

using Complex = std::complex<double>;
using std::numbers::pi;

constexpr Hertz highest_bass{160.0};

// Butterworth of order 1 … 4 with its corner at 1, as low-pass; a high-pass is that of 1/s.
Complex butterworth(Complex s, int order) {
  Complex product = order % 2 == 1 ? s + 1.0 : Complex(1.0);
  for (int k = 0; k < order / 2; ++k) {
    const double damping = 2.0 * std::sin(pi * (2.0 * k + 1.0) / (2.0 * order));
    product *= s * s + damping * s + 1.0;
  }
  return 1.0 / product;
}

Complex pass(Complex s, FilterFamily family, int order) {
  if (family != FilterFamily::linkwitz_riley) return butterworth(s, order);
  const Complex half = butterworth(s, order / 2);
  return half * half;
}

Complex peaking(Complex s, double gain_db, double q) {
  const double a = std::pow(10.0, gain_db / 40.0);
  return (s * s + s * (a / q) + 1.0) / (s * s + s / (a * q) + 1.0);
}

Complex low_shelf(Complex s, double gain_db, int order) {
  if (order == 1) {
    const double g = std::pow(10.0, gain_db / 20.0);
    return (s + g) / (s + 1.0);
  }
  const double a = std::pow(10.0, gain_db / 40.0);
  const double side = std::sqrt(2.0 * a);  // √A/Q with Q = 1/√2
  return a * (s * s + side * s + a) / (a * s * s + side * s + 1.0);
}

std::string slope_words(const Filter& f) {
  constexpr int decibels_per_order = 6;
  return std::to_string(decibels_per_order * f.order) + " dB/octave" +
         (f.family == FilterFamily::linkwitz_riley ? " (Linkwitz-Riley)" : "");
}

std::string about(Hertz frequency) {
  return "about " + format_quantity(frequency, 2);
}

std::string up_or_down(Decibels gain) {
  return (gain.value() > 0.0 ? "turned up by " : "turned down by ") +
         sentence("%.1f dB", std::abs(gain.value()));
}

bool is_boosted_shelf(const Filter& f, FilterKind kind) {
  return f.kind == kind && f.gain.value() > 0.0;
}

}  // namespace

Complex response(const Filter& f, Hertz frequency) {
  const Complex s(0.0, frequency / f.frequency);
  switch (f.kind) {
    case FilterKind::high_pass:
      return pass(1.0 / s, f.family, f.order);
    case FilterKind::low_pass:
      return pass(s, f.family, f.order);
    case FilterKind::peaking:
      return peaking(s, f.gain.value(), f.q);
    case FilterKind::low_shelf:
      return low_shelf(s, f.gain.value(), f.order);
    case FilterKind::high_shelf:
      return low_shelf(1.0 / s, f.gain.value(), f.order);
  }
  return 1.0;
}

double phase_turn(const std::vector<Filter>& filters, Hertz frequency) {
  double sum = 0.0;
  for (const Filter& f : filters) sum += std::arg(response(f, frequency));
  return sum;
}

std::string in_words(const Filter& f) {
  switch (f.kind) {
    case FilterKind::high_pass:
      return "high-pass on at " + about(f.frequency) + ", " + slope_words(f);
    case FilterKind::low_pass:
      return "low-pass on at " + about(f.frequency) + ", " + slope_words(f);
    case FilterKind::peaking: {
      const bool bass = f.frequency < highest_bass;
      const std::string what = f.gain.value() > 0.0 ? (bass ? "bass boost" : "boost") : "cut";
      return what + " of " + sentence("%+.1f dB", f.gain.value()) + " at " +
             format_quantity(f.frequency, 2) + sentence(", Q %.1f", f.q);
    }
    case FilterKind::low_shelf:
      return "bass " + up_or_down(f.gain) + " below " + about(f.frequency);
    case FilterKind::high_shelf:
      return (f.gain.value() < 0.0 ? "treble cut: " : "") + std::string("treble ") +
             up_or_down(f.gain) + " above " + about(f.frequency);
  }
  return "";
}

std::vector<std::string> in_words(const std::vector<Filter>& filters) {
  const auto find = [&](FilterKind kind) {
    return std::find_if(filters.begin(), filters.end(),
                        [&](const Filter& f) { return is_boosted_shelf(f, kind); });
  };
  const auto bass = find(FilterKind::low_shelf), treble = find(FilterKind::high_shelf);
  const bool loudness = bass != filters.end() && treble != filters.end();
  std::vector<std::string> words;
  if (loudness) {
    words.push_back(sentence("loudness on: bass %+.1f dB, treble %+.1f dB", bass->gain.value(),
                             treble->gain.value()));
  }
  for (auto f = filters.begin(); f != filters.end(); ++f) {
    if (loudness && (f == bass || f == treble)) continue;
    words.push_back(in_words(*f));
  }
  return words;
}

const char* name(FilterKind kind) {
  switch (kind) {
    case FilterKind::high_pass:
      return "high-pass";
    case FilterKind::low_pass:
      return "low-pass";
    case FilterKind::peaking:
      return "peaking";
    case FilterKind::low_shelf:
      return "low-shelf";
    case FilterKind::high_shelf:
      return "high-shelf";
  }
  return "";
}

const char* name(FilterFamily family) {
  switch (family) {
    case FilterFamily::none:
      return "none";
    case FilterFamily::butterworth:
      return "butterworth";
    case FilterFamily::linkwitz_riley:
      return "linkwitz-riley";
  }
  return "none";
}

}  // namespace railtap::judge
