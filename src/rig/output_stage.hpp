// SPDX-License-Identifier: MIT
// A power stage at work: limiter, crossover, slew, rails that sag, output resistance.
#pragma once

#include <optional>
#include <span>

#include "rig/description.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

/// A static limit with a corner or a knee at either side. The gain is 1 up to rail·(1 − knee),
/// falls in a straight line and is 0 from rail·(1 + knee) on, where the output has reached the
/// rail.
struct Rails {
  double positive = 0.0;  ///< volts, > 0
  double negative = 0.0;  ///< the magnitude, > 0
  double knee = 0.0;      ///< 0 … 1
};

/// The mean of the limited value while the input goes from `from` to `to` in a straight line. That
/// is the static curve followed by a box filter of one sample, which holds its aliases down
/// [Parker, Zavalishin, Le Bivic: Reducing the aliasing of nonlinear waveshaping using continuous
/// time convolution, DAFx-16].
[[nodiscard]] double limited_mean(const Rails& rails, double from, double to);

/// A stage set up for one channel; plain numbers in volts, ohms and samples. The sag's factor, the
/// limiter's attack and its release are the share of the way to a new value that one sample takes.
struct StageState {
  Rails rails;  ///< without sag
  double crossover = 0.0, crossover_loss = 0.0;
  double slew_per_sample = 0.0;   ///< 0: no limit
  double load_conductance = 0.0;  ///< of the load and the output resistance in a row; 0: no load
  double divider = 1.0;           ///< terminals over inner voltage
  double sag_resistance = 0.0, sag_factor = 0.0;
  bool has_limiter = false;
  double limiter_threshold = 0.0, limiter_attack = 0.0, limiter_release = 0.0;
  bool has_protection = false;
  double protection_threshold = 0.0;
  double protection_hold = 0.0, protection_gap = 0.0;  ///< samples; the gap between two peaks

  // What the samples before have left.
  double limiter_envelope = 0.0;
  double last_in = 0.0, last_crossed = 0.0, slewed = 0.0;
  double mean_current = 0.0;
  double over_for = 0.0, since_over = 0.0;  // samples
  bool muted = false;                       // for good
};

/// \param rail           of this stage at this supply, no load, > 0
/// \param sag_resistance in all: the stage's own and what the supply adds
/// \param load           none: no load connected
[[nodiscard]] StageState make_stage(const OutputStage& stage, Volts rail, Ohms sag_resistance,
                                    std::optional<Ohms> load, Hertz rate);

/// From the volts that the stage would deliver to those it does, in place. Delays by half a sample,
/// by another half where there is crossover distortion.
void process(StageState& stage, std::span<double> block);

}  // namespace railtap::rig
