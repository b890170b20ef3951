// SPDX-License-Identifier: MIT
// A steady tone whose level is turned by hand in front of a stage with a known law.
#pragma once

#include <optional>
#include <vector>

#include "support/played_steps.hpp"

namespace railtap::test {

/// One stretch of a turn: the level moves by `change_db` within `seconds`.
struct Turned {
  double change_db;
  double seconds;
};

/// The input level in dBFS, sample by sample. A hand's speed does not jump: it is the mean of what
/// the stretches say over 60 ms around.
std::vector<double> turned_level(double from_dbfs, const std::vector<Turned>& turns, double rate);

/// The recording of a tone with that level, whose phase runs on: the stage's law sample by sample
/// as a sum of its harmonics below 20 kHz (the first 40), each with the amplitude that the law
/// gives at the level of that moment; then the coupling as a filter of first order, the noise, and
/// rounding.
/// \param coupling_hz corner of the coupling; the stage's chain must be the same for the truth
/// \param bits 0: not rounded
std::vector<double> turn(const std::vector<double>& input_dbfs, const Stage& stage,
                         double coupling_hz, int bits, Random& random);

/// What a steady tone of an input level is recorded as, of the same harmonics: level in dBFS, and
/// THD+N as a ratio with the noise below 20 kHz.
struct SteadyTone {
  double level_dbfs = 0.0;
  double thdn = 0.0;
};
SteadyTone steady_tone(const Stage& stage, double input_dbfs);

/// The highest input level in dBFS at which THD+N passes a ratio from below; none from 20 dB below
/// `high_dbfs` up to it.
std::optional<double> thdn_input(const Stage& stage, double ratio, double high_dbfs);

}  // namespace railtap::test
