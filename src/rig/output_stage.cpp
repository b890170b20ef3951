// SPDX-License-Identifier: MIT
// The power stage's static curve and its loops.
#include "rig/output_stage.hpp"

#include <algorithm>
#include <cmath>

namespace railtap::rig {
namespace {

/// The limit on one side for x >= 0, and its integral from 0 to x.
struct Side {
  double corner, end, rail;
  Side(double highest, double knee)
      : corner(highest * (1.0 - knee)), end(highest * (1.0 + knee)), rail(highest) {}

  [[nodiscard]] double value(double x) const {
    if (x <= corner) return x;
    if (x >= end) return rail;
    const double over = x - corner;
    return x - over * over / (2.0 * (end - corner));
  }
  [[nodiscard]] double integral(double x) const {
    if (x <= corner) return x * x / 2.0;
    const double over = std::min(x, end) - corner;
    const double width = end - corner;
    const double within = std::min(x, end);
    const double bent = width > 0.0 ? over * over * over / (6.0 * width) : 0.0;
    return within * within / 2.0 - bent + (x > end ? rail * (x - end) : 0.0);
  }
};

double value(const Side& positive, const Side& negative, double x) {
  return x >= 0.0 ? positive.value(x) : -negative.value(-x);
}

double integral(const Side& positive, const Side& negative, double x) {
  return x >= 0.0 ? positive.integral(x) : negative.integral(-x);
}

/// A time constant as the share of a step that one sample takes.
double one_sample_share(Seconds time, Hertz rate) {
  return -std::expm1(-1.0 / (time.value() * rate.value()));
}

double limited_gain(StageState& stage, double x) {
  const double magnitude = std::abs(x);
  const double share =
      magnitude > stage.limiter_envelope ? stage.limiter_attack : stage.limiter_release;
  stage.limiter_envelope += share * (magnitude - stage.limiter_envelope);
  return stage.limiter_envelope > stage.limiter_threshold
             ? stage.limiter_threshold / stage.limiter_envelope
             : 1.0;
}

double slew(StageState& stage, double x) {
  stage.slewed += std::clamp(x - stage.slewed, -stage.slew_per_sample, stage.slew_per_sample);
  return stage.slewed;
}

/// Around zero the gain is lower: the straight line less a part of what a narrow limit passes.
double cross_over(StageState& stage, double x) {
  const Rails band{stage.crossover, stage.crossover, 0.0};
  const double mean = (stage.last_crossed + x) / 2.0 -
                      stage.crossover_loss * limited_mean(band, stage.last_crossed, x);
  stage.last_crossed = x;
  return mean;
}

double limit_to_firm_rails(StageState& stage, double x) {
  const double y = limited_mean(stage.rails, stage.last_in, x);
  stage.last_in = x;
  return y;
}

double limit_to_rails(StageState& stage, double x) {
  const double sag = stage.sag_resistance * stage.mean_current;
  // A rail can't fall below nothing; a tenth keeps the arithmetic away from 0.
  const Rails now{std::max(stage.rails.positive - sag, stage.rails.positive / 10.0),
                  std::max(stage.rails.negative - sag, stage.rails.negative / 10.0),
                  stage.rails.knee};
  const double y = limited_mean(now, stage.last_in, x);
  stage.last_in = x;
  const double current = std::abs(y) * stage.load_conductance;
  stage.mean_current += stage.sag_factor * (current - stage.mean_current);
  return y;
}

/// Peaks that follow each other within the gap count as one time over the threshold.
double protect(StageState& stage, double y) {
  if (stage.muted) return 0.0;
  if (std::abs(y) >= stage.protection_threshold) {
    stage.since_over = 0.0;
    stage.muted = stage.over_for >= stage.protection_hold;
  } else if (stage.since_over < stage.protection_gap) {
    stage.since_over += 1.0;
  }
  const bool over = stage.since_over < stage.protection_gap;
  stage.over_for = over ? stage.over_for + 1.0 : 0.0;
  return stage.muted ? 0.0 : y;
}

}  // namespace

double limited_mean(const Rails& rails, double from, double to) {
  const double straight = 1.0 - rails.knee;
  const double low = std::min(from, to);
  const double high = std::max(from, to);
  if (high <= rails.positive * straight && low >= -rails.negative * straight) {
    return (from + to) / 2.0;
  }
  const Side positive(rails.positive, rails.knee);
  const Side negative(rails.negative, rails.knee);
  if (low >= positive.end) return positive.rail;
  if (high <= -negative.end) return -negative.rail;
  // Where both ends almost coincide, the difference of integrals would drown in rounding.
  constexpr double closest = 1e-7;
  if (high - low < closest * rails.positive) return value(positive, negative, (from + to) / 2.0);
  return (integral(positive, negative, to) - integral(positive, negative, from)) / (to - from);
}

StageState make_stage(const OutputStage& stage, Volts rail, Ohms sag_resistance,
                      std::optional<Ohms> load, Hertz rate) {
  constexpr double percent = 0.01;
  constexpr double microseconds = 1e6;
  StageState state;
  state.rails = {rail.value(), rail.value() * (1.0 - percent * stage.asymmetry.value()),
                 percent * stage.knee.value()};
  state.crossover = stage.crossover.value();
  state.crossover_loss = percent * stage.crossover_loss.value();
  if (stage.slew_v_per_us) {
    state.slew_per_sample = *stage.slew_v_per_us * microseconds / rate.value();
  }
  if (load) {
    const Ohms all = *load + stage.output_resistance;
    state.load_conductance = 1.0 / all.value();
    state.divider = *load / all;
  }
  state.sag_resistance = sag_resistance.value();
  state.sag_factor = one_sample_share(stage.sag_time, rate);
  if (stage.limiter) {
    state.has_limiter = true;
    state.limiter_threshold = stage.limiter->threshold.value();
    state.limiter_attack = one_sample_share(stage.limiter->attack, rate);
    state.limiter_release = one_sample_share(stage.limiter->release, rate);
  }
  if (stage.protection) {
    constexpr double longest_gap_s = 0.025;  // half a cycle of 20 Hz
    state.has_protection = true;
    state.protection_threshold = stage.protection->threshold.value();
    state.protection_hold = stage.protection->hold.value() * rate.value();
    state.protection_gap = longest_gap_s * rate.value();
    state.since_over = state.protection_gap;
  }
  return state;
}

void process(StageState& stage, std::span<double> block) {
  if (stage.has_limiter) {
    for (double& x : block) x *= limited_gain(stage, x);
  }
  if (stage.slew_per_sample > 0.0) {
    for (double& x : block) x = slew(stage, x);
  }
  if (stage.crossover > 0.0) {
    for (double& x : block) x = cross_over(stage, x);
  }
  if (stage.sag_resistance * stage.load_conductance == 0.0) {
    for (double& x : block) x = limit_to_firm_rails(stage, x) * stage.divider;
  } else {
    for (double& x : block) x = limit_to_rails(stage, x) * stage.divider;
  }
  if (stage.has_protection) {
    for (double& x : block) x = protect(stage, x);
  }
}

}  // namespace railtap::rig
