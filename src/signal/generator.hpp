// SPDX-License-Identifier: MIT
// Renders a track block by block, at constant memory; random numbers that are the same on every
// machine, dither, and pink noise.
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

// Random numbers that are the same on every machine, dither, and pink noise.

/// SplitMix64 [Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014]:
/// a counter and a mixing function, so any place in the sequence can be reached at once. The
/// standard library's distributions differ from one implementation to the next, so they are not
/// used.
class Random {
 public:
  explicit constexpr Random(std::uint64_t seed) : state_(seed) {}

  constexpr std::uint64_t next() {
    state_ += 0x9E3779B97F4A7C15ULL;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
  }

  /// Uniform, 0 <= value < 1.
  constexpr double uniform() { return static_cast<double>(next() >> 11) * 0x1p-53; }

  /// Variance 1, mean 0: the sum of four even ones, each of variance 1/12. Bounded at ±3.46, which
  /// no longer shows once a filter has summed many of them.
  constexpr double gaussian() {
    const std::uint64_t bits = next();
    const auto sum =
        (bits & 0xFFFFU) + ((bits >> 16U) & 0xFFFFU) + ((bits >> 32U) & 0xFFFFU) + (bits >> 48U);
    // Mean of the sum 2·65535; standard deviation 65536·√(4/12).
    return (static_cast<double>(sum) - 131070.0) * (1.7320508075688772 / 65536.0);
  }

  /// Triangular over (−1, 1): the sum of two even ones, as dither is [AES17-2015, 3.9: TPDF].
  constexpr double triangular() { return uniform() - uniform(); }

 private:
  std::uint64_t state_;
};

/// Adds the sum of two uniform values, each one code step wide: afterwards the error of rounding
/// has a mean and a power that do not depend on the signal, step²/4 in all
/// [Lipshitz, Wannamaker, Vanderkooy, "Quantization and dither: a theoretical survey", JAES 40
/// (1992) 355-375]. Independent in both channels. The seed is fixed, so files are reproducible.
class Dither {
 public:
  /// \param step distance of two codes in full scales, > 0
  explicit Dither(double step) : step_(step) {}

  void add(std::span<double> samples);

  /// The largest peak whose rounded, dithered samples stay within the codes ±(2^(bits−1) − 1): the
  /// dither is below one step, so one step is kept from the highest code.
  /// \param step 2^(1−bits)
  [[nodiscard]] static constexpr double highest_peak(double step) { return 1.0 - 2.0 * step; }

 private:
  Random random_{0x7261696C746170ULL};
  double step_;
};

/// One period of noise with RMS 1: every frequency between the two edges that fits the period, at
/// an amplitude of 1/√f and a random phase (fixed seed). So the slope is exactly −10 dB a decade,
/// nothing lies outside the band, and repeating it makes no seam. The period is 2¹⁸ samples: 5.9 s
/// at 44.1 kHz, 2.7 s at 96 kHz.
[[nodiscard]] std::vector<double> pink_noise_period(Hertz low, Hertz high, Hertz rate);

// Renders a track block by block, at constant memory.

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
