// SPDX-License-Identifier: MIT
// Powers of silence as levels, volts and sound.
#include "judge/silence.hpp"

#include <cmath>
#include <numbers>

#include "electric/target.hpp"
#include "judge/analysis.hpp"

namespace railtap::judge {
namespace {

constexpr double full_scale_sine_mean_square = 0.5;
// Weaker lines are any converter's own.
constexpr Decibels weakest_line{-100.0};

std::optional<Dbfs> level(double mean_square) {
  if (!(mean_square > 0.0)) return std::nullopt;
  return Dbfs(10.0 * std::log10(mean_square / full_scale_sine_mean_square));
}

std::optional<Volts> volts(std::optional<Dbfs> of, const SilenceContext& context) {
  if (!of || !context.volts_per_full_scale) return std::nullopt;
  return *context.volts_per_full_scale * (sine_peak(*of) / std::numbers::sqrt2);
}

// Takes the interface's own noise off, down to a tenth of the power: less is not known.
double without_interface(double noise_a, SilenceFindings& findings, const SilenceContext& context) {
  if (!context.interface_noise_a) return noise_a;
  const double peak = sine_peak(*context.interface_noise_a);
  const double own = peak * peak * full_scale_sine_mean_square;
  findings.interface_bound = own > 0.5 * noise_a;
  constexpr double least_share = 0.1;
  return std::max(noise_a - own, least_share * noise_a);
}

std::vector<SilenceLine> lines_of(const measure::SilenceReading& reading,
                                  const SilenceContext& context) {
  std::vector<SilenceLine> list;
  for (const auto& line : reading.lines) {
    const auto at = level(line.mean_square);
    if (!at) continue;
    SilenceLine said{line.frequency, kind_of_line(line.frequency), *at, volts(at, context), {}};
    if (context.programme) said.re_programme = *at - *context.programme;
    if (context.programme && *said.re_programme < weakest_line) continue;
    list.push_back(said);
  }
  return list;
}

}  // namespace

SilenceFindings judge_silence(const measure::SilenceReading& reading,
                              const SilenceContext& context) {
  SilenceFindings findings;
  findings.length = reading.length;
  findings.hiss = level(reading.noise);
  findings.hiss_a = level(without_interface(reading.noise_a, findings, context));
  findings.whole_a = level(reading.whole_a);
  findings.hiss_v = volts(findings.hiss, context);
  findings.hiss_a_v = volts(findings.hiss_a, context);
  findings.whole_a_v = volts(findings.whole_a, context);
  if (findings.hiss_a_v && context.sensitivity)
    findings.hiss_sound_level = electric::sound_level(*findings.hiss_a_v, *context.sensitivity);
  if (findings.hiss_a && context.programme)
    findings.hiss_re_programme = *findings.hiss_a - *context.programme;
  findings.lines = lines_of(reading, context);
  return findings;
}

}  // namespace railtap::judge
