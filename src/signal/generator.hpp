// SPDX-License-Identifier: MIT
// Renders a track block by block, at constant memory.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::signal {

/// Renders sin(2π(f·n/rate + phase)) for any n.
///
/// What grows with n in most generators, the rounding error of the phase, does not here: f·n is
/// formed with its rounding error (fused multiply-add) and reduced by whole seconds without error
/// (fmod is exact), so the phase is right to 10⁻¹⁵ cycles anywhere. Within a chunk the sine follows
/// from two tables by the addition theorem: two multiplications and an addition a sample, no
/// recurrence, so compilers vectorize it. Chunks lie on a fixed grid, so how a caller splits a
/// signal does not change its samples.
class Oscillator {
 public:
  /// \param frequency below rate/2; \param rate > 0
  Oscillator(Hertz frequency, Hertz rate);

  /// Samples first … first + out.size() − 1, peak 1.
  void render(std::int64_t first, std::span<double> out, double phase_cycles = 0.0) const;

  /// f·n/rate modulo 1, in cycles.
  [[nodiscard]] double cycles_at(std::int64_t n) const;

 private:
  static constexpr std::size_t chunk = 1024;  // both tables stay in the first-level cache
  double frequency_, rate_;
  std::array<double, chunk> sine_, cosine_;
};

/// Writes samples first … first + out.size() − 1 of a signal of known length.
using Voice = std::function<void(std::int64_t first, std::span<double> out)>;

/// A signal ready to be rendered. An empty voice is silence.
struct Voices {
  std::int64_t frames = 0;
  Voice left, right;
  bool same = false;  ///< both voices are the same
};

/// Prepares a signal, or a marker, to be rendered. Starts and stops are raised cosines of 10 ms, or
/// of one cycle where that is longer.
/// \param highest_peak the signal is turned down to this peak where it would exceed it
/// \throws Error as require_renderable does
[[nodiscard]] Voices voices_of(const Signal& signal, Channels channels, Hertz rate,
                               double highest_peak);
[[nodiscard]] Voices marker_voices(const Signal& announced, MarkerBand band, Hertz rate);

/// A whole track, in stereo.
class Generator {
 public:
  /// \param highest_peak full scales that no sample may exceed: Dither::highest_peak for PCM
  /// \throws Error where a part can't be rendered or announced
  Generator(const Track& track, Hertz rate, double highest_peak);

  [[nodiscard]] std::int64_t frames() const { return frames_; }

  /// Fills whole stereo frames, full scale ±1, and returns how many; 0 means the end.
  std::size_t render(std::span<double> interleaved);

 private:
  void render_part(const Voices& part, std::int64_t first, std::span<double> interleaved);

  std::vector<Voices> parts_;
  std::int64_t frames_ = 0;
  std::size_t part_ = 0;       // being rendered
  std::int64_t position_ = 0;  // within it
  std::vector<double> left_, right_;
};

/// The largest peak for samples that are not rounded: the largest 32-bit float below 1.
inline constexpr double highest_float_peak = 1.0 - 0x1p-24;

}  // namespace railtap::signal
