// SPDX-License-Identifier: MIT
// The gain of vanishing input, from the softest steps and how the gain falls off above them.
#include <algorithm>
#include <cmath>

#include "judge/interpolate.hpp"
#include "judge/onset_criteria.hpp"
#include "measure/median.hpp"

namespace railtap::judge::criteria {
namespace {

constexpr double gain_floor_db = 0.003;  // of one step: the chain's own drift

// Steps whose gain is worth looking at: those that noise leaves precise, but for one that stands
// out between its neighbours, which was disturbed.
std::vector<const Point*> gain_steps(const std::vector<Point>& points) {
  constexpr double least_precise_db = 0.1;
  constexpr double standing_out_db = 0.03;
  std::vector<const Point*> precise;
  for (const Point& p : points) {
    if (p.level_sigma < least_precise_db) precise.push_back(&p);
  }
  if (precise.size() < least_steps) return {};
  const auto gain = [&](std::size_t i) { return precise[i]->level - *precise[i]->input; };
  std::vector<const Point*> steps;
  for (std::size_t i = 0; i < precise.size(); ++i) {
    const std::size_t first = std::min(i == 0 ? 0 : i - 1, precise.size() - 3);
    const double usual = measure::median({gain(first), gain(first + 1), gain(first + 2)});
    const bool soft = i < (precise.size() + 1) / 2;
    const double off = std::abs(gain(i) - usual);
    if (soft && off > standing_out_db + 3.0 * precise[i]->level_sigma) continue;
    steps.push_back(precise[i]);
  }
  return steps;
}

// The mean gain of the softest steps, as many as it takes to know it.
Gain gain_of_softest(const std::vector<const Point*>& steps) {
  constexpr double precise_enough_db = 0.002;
  double sum = 0.0;
  double weights = 0.0;
  for (std::size_t i = 0; i < (steps.size() + 1) / 2; ++i) {
    const double sigma = std::hypot(steps[i]->level_sigma, gain_floor_db);
    sum += (steps[i]->level - *steps[i]->input) / (sigma * sigma);
    weights += 1.0 / (sigma * sigma);
    if (weights * precise_enough_db * precise_enough_db > 1.0) break;
  }
  return {sum / weights, gain_known_to_db};
}

// Least squares of gain = g − c·A^m at one exponent m, A the input re the loudest step.
struct PowerFit {
  Gain gain;
  double fall = 0.0;  // c
  double misfit = 0.0;
};

PowerFit fit_power(const std::vector<const Point*>& steps, double exponent) {
  double s = 0.0, sa = 0.0, saa = 0.0, sg = 0.0, sag = 0.0, sgg = 0.0;
  const double origin = steps.front()->level - *steps.front()->input;
  for (const Point* step : steps) {
    const double a = std::pow(10.0, exponent * (*step->input - *steps.back()->input) / 20.0);
    const double g = step->level - *step->input - origin;
    const double sigma = std::hypot(step->level_sigma, gain_floor_db);
    const double w = 1.0 / (sigma * sigma);
    s += w, sa += w * a, saa += w * a * a, sg += w * g, sag += w * a * g, sgg += w * g * g;
  }
  const double determinant = s * saa - sa * sa;
  PowerFit fit;
  const double gain = (saa * sg - sa * sag) / determinant;
  fit.fall = (sa * sg - s * sag) / determinant;
  fit.gain = {origin + gain, std::sqrt(saa / determinant)};
  fit.misfit = sgg - gain * sg + fit.fall * sag;
  return fit;
}

}  // namespace

std::optional<Gain> small_signal_gain(const std::vector<Point>& points, double limit_db) {
  constexpr std::size_t least_for_fit = 5;
  constexpr double exponents[] = {2, 2.5, 3, 3.5, 4, 5, 6, 8, 12, 20, 40};
  std::vector<const Point*> steps = gain_steps(points);
  if (steps.empty()) return std::nullopt;
  const Gain softest = gain_of_softest(steps);
  while (!steps.empty() && steps.back()->level - *steps.back()->input < softest.db - limit_db) {
    steps.pop_back();
  }
  if (steps.size() < least_for_fit) return softest;
  std::vector<PowerFit> fits;
  for (const double exponent : exponents) fits.push_back(fit_power(steps, exponent));
  const PowerFit best = *std::min_element(
      fits.begin(), fits.end(), [](const auto& a, const auto& b) { return a.misfit < b.misfit; });
  if (best.fall < 0.0) return softest;  // it rises, as crossover distortion lets it
  double spread = 0.0;
  for (const PowerFit& fit : fits) {
    if (fit.misfit < best.misfit + 1.0)
      spread = std::max(spread, std::abs(fit.gain.db - best.gain.db));
  }
  return Gain{best.gain.db, std::hypot(best.gain.sigma, spread)};
}

}  // namespace railtap::judge::criteria
