// SPDX-License-Identifier: MIT
// What follows from a signal's description without rendering it.
#include "signal/tone.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "signal/marker.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::signal {
namespace {

constexpr std::array<double, 10> rounded{1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0};

Hertz band(int number) {
  const int decade = number / 10;
  return Hertz(rounded[static_cast<std::size_t>(number % 10)] * std::pow(10.0, decade));
}

bool same(Hertz a, Hertz b) {
  constexpr double close = 1e-9;
  return std::abs(a / b - 1.0) < close;
}

}  // namespace

std::vector<Hertz> third_octaves(int first, int count) {
  std::vector<Hertz> bands;
  if (first < 0 || first + count - 1 > highest_third_octave) return bands;
  for (int k = 0; k < count; ++k) bands.push_back(band(first + k));
  return bands;
}

std::optional<int> first_third_octave(std::span<const Hertz> frequencies) {
  if (frequencies.empty() || frequencies.front() < Hertz(1.0)) return std::nullopt;
  const int first = static_cast<int>(std::lround(10.0 * std::log10(frequencies.front().value())));
  const auto bands = third_octaves(first, static_cast<int>(frequencies.size()));
  if (bands.empty()) return std::nullopt;
  for (std::size_t k = 0; k < bands.size(); ++k) {
    if (!same(bands[k], frequencies[k])) return std::nullopt;
  }
  return first;
}

namespace {

// Above this share of the rate, reconstruction filters take the tone down (judgement of ours:
// 19.8 kHz at 44.1 kHz).
constexpr double highest_share_of_rate = 0.45;

// Longest signal: a WAV file holds 4 GiB, 3.4 h in stereo at 44.1 kHz and 64 bit.
constexpr Seconds longest{10800.0};

// Gaussian noise passes five times its RMS about once in two million samples.
constexpr double noise_crest = 5.0;

template <class... Handlers>
struct Overloaded : Handlers... {
  using Handlers::operator()...;
};
template <class... Handlers>
Overloaded(Handlers...) -> Overloaded<Handlers...>;

double rms_of(Dbfs level) {
  return sine_peak(level) / std::sqrt(2.0);
}

// Peak over RMS of a sum of two sines that meet at their crests sooner or later.
double two_tone_crest(double ratio) {
  return (ratio + 1.0) / std::sqrt((ratio * ratio + 1.0) / 2.0);
}

double polarity_crest(double fundamental_hz) {
  double peak = 0.0, square = 0.0;
  for (int k = 0; k < polarity_orders(fundamental_hz); ++k) {
    const double amplitude = polarity_amplitudes[static_cast<std::size_t>(k)];
    peak += amplitude;
    square += amplitude * amplitude / 2.0;
  }
  return peak / std::sqrt(square);
}

std::vector<Hertz> frequencies_of(const Signal& signal) {
  return std::visit(Overloaded{
                        [](const Sine& s) { return std::vector{s.frequency}; },
                        [](const LevelLadder& s) { return std::vector{s.frequency}; },
                        [](const SteppedSine& s) { return s.frequencies; },
                        [](const LogSweep& s) {
                          return std::vector{s.low, s.high};
                        },
                        [](const TwoTone& s) {
                          return std::vector{s.first, s.second};
                        },
                        [](const PinkNoise& s) {
                          return std::vector{s.low, s.high};
                        },
                        [](const Silence&) { return std::vector<Hertz>{}; },
                        [](const PolarityPulses& s) {
                          return std::vector{
                              s.fundamental,
                              s.fundamental * polarity_orders(s.fundamental.value())};
                        },
                        [](const ChannelPattern&) { return std::vector<Hertz>{}; },
                    },
                    signal);
}

void require_order(Hertz low, Hertz high, const std::string& place) {
  if (low < high) return;
  throw Error(format_quantity(low) + " is not below " + format_quantity(high), place,
              "give the lower frequency first");
}

void require_frequencies(const Signal& signal, Hertz rate, const std::string& place) {
  const Hertz limit = rate * highest_share_of_rate;
  for (const Hertz frequency : frequencies_of(signal)) {
    if (frequency.value() >= 1.0 && frequency <= limit) continue;
    throw Error(
        format_quantity(frequency) + " cannot be played at a rate of " + format_quantity(rate, 5),
        place, "give 1 Hz to " + format_quantity(limit));
  }
  if (const auto* sweep = std::get_if<LogSweep>(&signal))
    require_order(sweep->low, sweep->high, place);
  if (const auto* noise = std::get_if<PinkNoise>(&signal))
    require_order(noise->low, noise->high, place);
}

}  // namespace

int ladder_steps(const LevelLadder& ladder) {
  const double range = std::abs((ladder.stop - ladder.start).value());
  const double steps = range / ladder.step.value();
  // Steps are typed with a few decimals; anything finer is a mistake.
  constexpr double fits = 1e-6;
  if (!(ladder.step.value() > 0.0) || std::abs(steps - std::round(steps)) > fits) {
    throw Error("a step of " + format_quantity(ladder.step) + " does not divide " +
                    format_quantity(Decibels(range)),
                "ladder", "give a step that goes into the range a whole number of times");
  }
  return static_cast<int>(std::lround(steps)) + 1;
}

Dbfs ladder_level(const LevelLadder& ladder, int index) {
  const int last = ladder_steps(ladder) - 1;
  if (last == 0) return ladder.start;
  return ladder.start + (ladder.stop - ladder.start) * (static_cast<double>(index) / last);
}

Seconds length_of(const Signal& signal) {
  return std::visit(
      Overloaded{
          [](const LevelLadder& s) { return s.dwell * ladder_steps(s); },
          [](const SteppedSine& s) { return s.dwell * static_cast<double>(s.frequencies.size()); },
          [](const ChannelPattern&) { return Seconds(pattern_length_s); },
          [](const auto& s) { return s.length; },
      },
      signal);
}

Dbfs highest_level(const Signal& signal) {
  return std::visit(
      Overloaded{
          [](const LevelLadder& s) { return std::max(s.start, s.stop); },
          [](const Silence&) { return Dbfs(-std::numeric_limits<double>::infinity()); },
          [](const auto& s) { return s.level; },
      },
      signal);
}

double nominal_peak(const Signal& signal) {
  const Dbfs level = highest_level(signal);
  return std::visit(Overloaded{
                        [&](const TwoTone& s) { return rms_of(level) * two_tone_crest(s.ratio); },
                        [&](const PinkNoise&) { return rms_of(level) * noise_crest; },
                        [&](const PolarityPulses& s) {
                          return rms_of(level) * polarity_crest(s.fundamental.value());
                        },
                        [&](const ChannelPattern&) { return rms_of(level) * two_tone_crest(1.0); },
                        [&](const auto&) { return sine_peak(level); },
                    },
                    signal);
}

void require_renderable(const Signal& signal, Hertz rate, const std::string& place) {
  require_frequencies(signal, rate, place);
  if (const auto* two = std::get_if<TwoTone>(&signal); two && !(two->ratio > 0.0))
    throw Error("the ratio of the two tones is not above 0", place, "give for example 4");
  const Seconds length = length_of(signal);
  if (!(length.value() > 0.0 && length <= longest)) {
    throw Error("a length of " + format_quantity(length) + " cannot be written", place,
                "give more than 0 s and at most " + format_quantity(longest));
  }
  constexpr double rounding = 1e-9;
  const double peak = nominal_peak(signal);
  if (!(peak <= 1.0 + rounding)) {
    throw Error("a level of " + format_fixed(highest_level(signal), 2) + " would exceed full scale",
                place,
                "give at most " +
                    format_fixed(highest_level(signal) - decibels_from_amplitude_ratio(peak), 2));
  }
}

std::string describe(const Signal& signal) {
  const auto at = [](Dbfs level) { return " at " + format_quantity(level); };
  return std::visit(
      Overloaded{
          [&](const Sine& s) { return format_quantity(s.frequency) + at(s.level); },
          [](const LevelLadder& s) {
            return format_quantity(s.frequency) + ", " + format_quantity(s.start) + " to " +
                   format_quantity(s.stop) + " in steps of " + format_quantity(s.step) + ", " +
                   format_quantity(s.dwell) + " each";
          },
          [&](const SteppedSine& s) {
            return std::to_string(s.frequencies.size()) + " steps from " +
                   format_quantity(s.frequencies.front()) + " to " +
                   format_quantity(s.frequencies.back()) + at(s.level) + ", " +
                   format_quantity(s.dwell) + " each";
          },
          [&](const LogSweep& s) {
            return "sweep " + format_quantity(s.low) + " to " + format_quantity(s.high) +
                   at(s.level);
          },
          [&](const TwoTone& s) {
            return format_quantity(s.first) + " and " + format_quantity(s.second) + at(s.level);
          },
          [&](const PinkNoise& s) {
            return "pink noise " + format_quantity(s.low) + " to " + format_quantity(s.high) +
                   at(s.level);
          },
          [](const Silence&) { return std::string("silence"); },
          [&](const PolarityPulses& s) {
            return "polarity pulses, " + format_quantity(s.fundamental) + at(s.level);
          },
          [&](const ChannelPattern& s) { return "left once, right twice" + at(s.level); },
      },
      signal);
}

std::string file_stem(const Kit& kit, std::size_t index) {
  std::string number = std::to_string(index + 1);
  while (number.size() < 2) number.insert(0, "0");
  return number + "_" + kit.tracks.at(index).name;
}

}  // namespace railtap::signal
