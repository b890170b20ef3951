// SPDX-License-Identifier: MIT
// Music made of numbers, mastered and played through a chain: what the tests of programme measure.
#pragma once

#include <optional>
#include <vector>

#include "rig/filter.hpp"
#include "support/basics.hpp"

namespace railtap::test {

/// How a piece was mastered. A limiter looks ahead and turns the gain down smoothly; a soft clipper
/// bends peaks by tanh.
enum class Mastering { none, limiter, soft_clipper };

/// Bass, plucked chords and drums, at most 1 in magnitude.
std::vector<double> made_music(Random& random, double rate, double seconds);

/// The same after mastering by random settings; at most 1 again.
std::vector<double> mastered(Random& random, std::vector<double> music, double rate,
                             Mastering mastering);

/// A chain behind a player: rails, a coupling capacitor, the noise of a sound input, and its codes.
struct PlayedChain {
  double gain = 0.5;  ///< recorded full scales per full scale of what arrives at the rails
  std::optional<double> positive_rail, negative_rail;  ///< full scales before `gain`, magnitudes
  double coupling_hz = 0.0;
  double noise_rms = 1e-4;  ///< full scales
  int bits = 16;
  rig::FilterSetting high_pass{};  ///< behind the rails
  /// A bass amplifier's filters, in front of its rails; what leaves them is brought to a peak of 1.
  rig::FilterSetting low_pass{}, subsonic{};
  int low_passes = 1;  ///< of these, one behind the other: two of order 2 are a Linkwitz-Riley
  std::optional<double>
      head_unit_rail{};  ///< in front of these: full scales of the music, magnitude
};

/// What the sound input records of it.
std::vector<double> recorded_through(const PlayedChain& chain, const std::vector<double>& music,
                                     double rate, Random& random);

}  // namespace railtap::test
