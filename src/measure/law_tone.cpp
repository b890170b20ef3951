// SPDX-License-Identifier: MIT
// A tone behind a stage with a knee at each rail, as it is seen in a block over which it moves.
#include "measure/law_tone.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/static_law.hpp"

namespace railtap::measure {
namespace {

// Gauss-Legendre on −1 … 1 [Abramowitz and Stegun, table 25.4, n = 8].
struct Node {
  double at, weight;
};
constexpr std::array<Node, 8> nodes{{{-0.960289856497536, 0.101228536290376},
                                     {-0.796666477413627, 0.222381034453374},
                                     {-0.525532409916329, 0.313706645877887},
                                     {-0.183434642495650, 0.362683783378362},
                                     {0.183434642495650, 0.362683783378362},
                                     {0.525532409916329, 0.313706645877887},
                                     {0.796666477413627, 0.222381034453374},
                                     {0.960289856497536, 0.101228536290376}}};

}  // namespace

void KneeStage::harmonics_at(double ln_input, LawHarmonics& harmonics) const {
  LawHarmonics by_negative;
  table.at(ln_input - std::log(positive), harmonics.data());
  table.at(ln_input - std::log(negative), by_negative.data());
  for (std::size_t k = 1; k <= table.orders(); ++k) {
    const double sign = k % 2 == 0 ? 1.0 : -1.0;
    harmonics[k - 1] = sign * negative * by_negative[k - 1] - positive * harmonics[k - 1];
  }
  harmonics[0] += std::exp(ln_input);
}

FittedTone::FittedTone(const LawTone& tone, Hertz coupling) {
  const HarmonicSeries& series = *tone.series;
  orders_ = std::min({tone.orders, KneeTable::most_orders, series.phasor.size()});
  for (std::size_t k = 0; k < orders_; ++k) {
    measured_[k] = before_coupling(series, k + 1, coupling).real();
    const double open = k == 0 ? 0.0 : response_share * std::abs(measured_[k]);
    sigma_[k] = std::hypot(series.sigma[k], own_share * measured_[0], open);
  }
  rise_ = input_rise_ = tone.rise_db * std::numbers::ln10 / 20.0;
  ln_input_ = std::log(measured_[0]);
}

// A parabola through the block has the value Σ w·h with w = (3/8)·(3 − 5u²) in the middle, and the
// slope (3/2)·Σ u·h (Legendre's polynomials of order 0 to 2).
FittedTone::Seen FittedTone::seen(const KneeStage& stage, double ln_input) const {
  Seen result;
  if (input_rise_ == 0.0) {
    stage.harmonics_at(ln_input, result.middle);
    return result;
  }
  LawHarmonics here;
  for (const Node& node : nodes) {
    stage.harmonics_at(ln_input + 0.5 * node.at * input_rise_, here);
    const double weight = 0.375 * (3.0 - 5.0 * node.at * node.at) * node.weight;
    for (std::size_t k = 0; k < stage.table.orders(); ++k) result.middle[k] += weight * here[k];
    result.half_rise += 1.5 * node.at * node.weight * here[0];
  }
  return result;
}

// The input rises by more than the fundamental where that is held by a rail.
void FittedTone::find_rise(const Seen& now) {
  constexpr double most_rise = 1.2;    // 10 dB, ln
  constexpr double most_change = 2.0;  // at once, either way
  if (input_rise_ == 0.0) return;
  const double ratio = rise_ * now.middle[0] / (2.0 * now.half_rise);
  if (!std::isfinite(ratio) || ratio <= 0.0) return;
  const double change = std::clamp(ratio, 1.0 / most_change, most_change);
  input_rise_ = std::clamp(input_rise_ * change, -most_rise, most_rise);
}

// Newton's method on the fundamental, which rises with the input.
void FittedTone::find_input(const KneeStage& stage) {
  constexpr int rounds = 6;
  constexpr int rise_rounds = 4;
  constexpr double probe = 0.005;
  constexpr double least_slope = 0.02;
  constexpr double most_move = 0.4;
  constexpr double close = 1e-7;
  constexpr double most_over = 1.7;  // the table's 15 dB, ln
  const double highest = std::log(std::max(stage.positive, stage.negative)) + most_over;
  const double wanted = std::log(measured_[0]);
  for (int round = 0; round < rounds; ++round) {
    if (round < rise_rounds) find_rise(seen(stage, ln_input_));
    const double here = std::log(seen(stage, ln_input_).middle[0]);
    const double slope = (std::log(seen(stage, ln_input_ + probe).middle[0]) - here) / probe;
    const double move = (wanted - here) / std::max(slope, least_slope);
    ln_input_ = std::min(ln_input_ + std::clamp(move, -most_move, most_move), highest);
    if (std::abs(move) < close) return;
  }
}

void FittedTone::add_residuals(const KneeStage& stage, std::vector<double>& residuals) {
  constexpr double probe = 0.01;
  constexpr double least_rise = 1e-9;
  find_input(stage);
  const Seen now = seen(stage, ln_input_);
  const Seen moved = seen(stage, ln_input_ + probe);
  const double rise = std::max(moved.middle[0] - now.middle[0], least_rise);
  for (std::size_t k = 0; k < orders_; ++k) {
    const double by_input = k == 0 ? 0.0 : (moved.middle[k] - now.middle[k]) / rise * sigma_[0];
    residuals.push_back((measured_[k] - now.middle[k]) / std::hypot(sigma_[k], by_input));
  }
}

}  // namespace railtap::measure
