// SPDX-License-Identifier: MIT
// From measured segments to the points of pictures.
#include "judge/curves.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace railtap::judge {
namespace {

using measure::ClippedSineFit;
using measure::Segment;

constexpr double cycle_deg = 360.0;
constexpr double longest_spectrum_s = 2.0;
constexpr double inner_share = 0.8;     // of a segment: its edges may hold a step
constexpr double lowest_power = 1e-30;  // −300 dBFS, so that an empty bin has a logarithm

/// The fitted sine behind the coupling, cut at its rails, with the mean that a coupling takes out.
struct CutSine {
  double amplitude = 0.0, lag_cycles = 0.0, mean = 0.0;
  double positive = 0.0, negative = 0.0;  // rails; the amplitude where that rail is not flat

  [[nodiscard]] double sine_at(double cycles) const {
    return amplitude * std::sin(2.0 * std::numbers::pi * (cycles - lag_cycles));
  }
};

double rail_of(const ClippedSineFit& fit, const measure::RailOverdrive& rail) {
  return rail.flat ? fit.amplitude_fs * amplitude_ratio(-rail.overdrive) : fit.amplitude_fs;
}

CutSine cut_sine(const ClippedSineFit& fit, Hertz fundamental) {
  constexpr int steps = 720;
  CutSine cut;
  cut.amplitude = fit.amplitude_fs;
  cut.lag_cycles = std::atan(fit.coupling / fundamental) / (2.0 * std::numbers::pi);
  cut.positive = rail_of(fit, fit.positive);
  cut.negative = rail_of(fit, fit.negative);
  for (int i = 0; i < steps; ++i) {
    cut.mean += std::clamp(cut.sine_at((i + 0.5) / steps), -cut.negative, cut.positive) / steps;
  }
  return cut;
}

CycleCurve cycle_of(const Segment& segment) {
  CycleCurve curve;
  for (const auto& point : segment.fold->upright) {
    curve.phase_deg.push_back(cycle_deg * point.phase);
    curve.mean.push_back(point.mean);
    curve.low.push_back(point.low);
    curve.high.push_back(point.high);
  }
  const ClippedSineFit& fit = *segment.clip;
  if (!fit.positive.flat && !fit.negative.flat) return curve;
  const CutSine cut = cut_sine(fit, segment.measurement.series.fundamental);
  if (fit.positive.flat) curve.positive_rail = cut.positive - cut.mean;
  if (fit.negative.flat) curve.negative_rail = -cut.negative - cut.mean;
  for (const auto& point : segment.fold->upright) {
    curve.sine.push_back(cut.sine_at(point.phase) - cut.mean);
  }
  return curve;
}

TransferCurve transfer_of(const Segment& segment) {
  TransferCurve curve;
  for (const auto& point : segment.fold->transfer) {
    curve.input.push_back(point.input);
    curve.rising.push_back(point.rising);
    curve.falling.push_back(point.falling);
  }
  return curve;
}

LevelCurve levels_of(const measure::SpectrumCurve& spectrum) {
  constexpr double full_scale_sine = 0.5;  // mean square [AES17-2015, 3.12]
  LevelCurve curve;
  curve.resolution = spectrum.resolution;
  curve.frequency_hz = spectrum.frequency_hz;
  for (const double power : spectrum.mean_square) {
    curve.level_dbfs.push_back(10.0 * std::log10(std::max(power, lowest_power) / full_scale_sine));
  }
  return curve;
}

}  // namespace

const Segment* drawn_segment(const measure::ChannelRecording& recording) {
  const Segment* best = nullptr;
  const auto rank = [](const Segment& s) {
    return std::pair(is_tone(s), s.end_frame - s.first_frame);
  };
  for (const Segment& segment : recording.segments) {
    if (best == nullptr || rank(*best) < rank(segment)) best = &segment;
  }
  return best;
}

Stretch spectrum_stretch(const Segment& segment, Hertz rate) {
  const auto length = static_cast<double>(segment.end_frame - segment.first_frame);
  const auto frames =
      static_cast<std::int64_t>(std::min(inner_share * length, longest_spectrum_s * rate.value()));
  return {(segment.first_frame + segment.end_frame - frames) / 2, frames};
}

Curves curves_of(const Segment& segment, const measure::SpectrumCurve& spectrum) {
  Curves curves;
  if (segment.fold && segment.clip) {
    curves.cycle = cycle_of(segment);
    curves.transfer = transfer_of(segment);
  }
  curves.spectrum = levels_of(spectrum);
  return curves;
}

}  // namespace railtap::judge
