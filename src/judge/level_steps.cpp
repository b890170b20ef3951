// SPDX-License-Identifier: MIT
// From measured steps to the highest clean one.
#include "judge/level_steps.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace railtap::judge {
namespace {

std::optional<Decibels> overdrive_of(const measure::ClippedSineFit& fit) {
  std::optional<Decibels> overdrive;
  for (const auto& rail : {fit.positive, fit.negative}) {
    if (rail.flat && (!overdrive || rail.overdrive > *overdrive)) overdrive = rail.overdrive;
  }
  return overdrive;
}

StepFinding judge_step(const measure::LevelStep& step, Volts volts_per_full_scale,
                       Percent thdn_limit) {
  StepFinding finding;
  const auto& block = step.block;
  if (!block.tone) return finding;
  const double mean_square = block.fundamental + block.residual;
  constexpr double percent = 100.0;
  finding.level = volts_per_full_scale * std::sqrt(mean_square);
  finding.thdn = Percent(percent * std::sqrt(block.residual / mean_square));
  if (step.clip) {
    finding.overdrive = overdrive_of(*step.clip);
    finding.onset = onset_of(*step.clip, volts_per_full_scale);
  }
  finding.flat = finding.overdrive.has_value();
  finding.clean = !finding.flat && finding.thdn <= thdn_limit;
  return finding;
}

}  // namespace

std::optional<Volts> onset_of(const measure::ClippedSineFit& fit, Volts volts_per_full_scale) {
  const auto overdrive = overdrive_of(fit);
  if (!overdrive) return {};
  const double peak = fit.amplitude_fs / amplitude_ratio(*overdrive);
  return volts_per_full_scale * (peak / std::numbers::sqrt2);
}

StepFindings judge_steps(const std::vector<measure::LevelStep>& steps, Volts volts_per_full_scale,
                         Percent thdn_limit) {
  StepFindings findings;
  for (const auto& step : steps) {
    findings.steps.push_back(judge_step(step, volts_per_full_scale, thdn_limit));
  }
  const auto& all = findings.steps;
  const auto first_bad =
      std::find_if(all.begin(), all.end(), [](const StepFinding& step) { return !step.clean; });
  if (first_bad != all.begin()) {
    findings.highest_clean = static_cast<std::size_t>(first_bad - all.begin()) - 1;
  }
  const auto flat =
      std::find_if(all.begin(), all.end(), [](const StepFinding& step) { return step.flat; });
  if (flat != all.end()) findings.onset = flat->onset;
  return findings;
}

}  // namespace railtap::judge
