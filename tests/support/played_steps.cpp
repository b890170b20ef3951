// SPDX-License-Identifier: MIT
// A tone played at one level after another through a stage with a known law.
#include "support/played_steps.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

namespace railtap::test {
namespace {

using std::numbers::pi;

constexpr double band_high_hz = 20000.0;
constexpr std::size_t most_orders = 120;

std::size_t orders_of(const Stage& stage) {
  return std::min(most_orders, static_cast<std::size_t>(band_high_hz / stage.hz));
}

Phasors recorded_tone(const Stage& stage, double input_dbfs) {
  const double peak = std::pow(10.0, input_dbfs / 20.0);
  Phasors tone = shaped_sine([&](double x) { return stage.scale * stage.law(peak * x); },
                             orders_of(stage), 2048);
  return through(std::move(tone), stage.hz, stage.chain);
}

struct Powers {
  double fundamental = 0.0, harmonics = 0.0;
};
Powers powers(const Stage& stage, double input_dbfs) {
  Powers result;
  const Phasors tone = recorded_tone(stage, input_dbfs);
  result.fundamental = 0.5 * std::norm(tone[0]);
  for (std::size_t k = 1; k < tone.size(); ++k) result.harmonics += 0.5 * std::norm(tone[k]);
  return result;
}

// The highest level at which a criterion passes 0 from below; none where it does not. Noise may
// hold it above 0 at soft levels.
std::optional<double> solve(const std::function<double(double)>& excess) {
  constexpr double lowest = -45.0;
  constexpr double step = 0.25;
  double high = 15.0;
  while (high > lowest && excess(high - step) >= 0.0) high -= step;
  if (high <= lowest) return std::nullopt;
  double low = high - step;
  for (int i = 0; i < 30; ++i) {
    const double middle = 0.5 * (low + high);
    (excess(middle) < 0.0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

// With straight fades, the second one behind the end.
void add_tone(std::vector<double>& x, std::size_t first, std::size_t end, const Phasors& tone,
              const Stage& stage, std::size_t fade) {
  constexpr double negligible = 1e-9;
  const double omega = 2.0 * pi * stage.hz / stage.rate;
  std::vector<double> steady(std::min(x.size(), end + fade) - first, 0.0);
  for (std::size_t k = 1; k <= tone.size(); ++k) {
    if (std::abs(tone[k - 1]) < negligible) continue;
    const double w = omega * static_cast<double>(k);
    const double start = std::fmod(w * static_cast<double>(first), 2.0 * pi);
    add_turning(steady, tone[k - 1] * std::polar(1.0, start), std::polar(1.0, w));
  }
  for (std::size_t n = 0; n < steady.size(); ++n) {
    if (n + 1 >= fade && first + n <= end) {
      x[first + n] += steady[n];
      continue;
    }
    const double in = static_cast<double>(n + 1) / static_cast<double>(fade);
    const double out = static_cast<double>(end - first + fade - n) / static_cast<double>(fade);
    x[first + n] += steady[n] * std::min({1.0, in, out});
  }
}

}  // namespace

std::vector<Played> ladder(double from_dbfs, double rise_db, int count, double dwell_s,
                           double silence_s) {
  std::vector<Played> stretches{{std::nullopt, silence_s}};
  for (int k = 0; k < count; ++k) stretches.push_back({from_dbfs + rise_db * k, dwell_s});
  stretches.push_back({std::nullopt, silence_s});
  return stretches;
}

std::vector<double> play(const std::vector<Played>& stretches, const Stage& stage, Random& random,
                         double fade_s) {
  double seconds = 0.0;
  for (const Played& stretch : stretches) seconds += stretch.seconds;
  std::vector<double> x(static_cast<std::size_t>(seconds * stage.rate), 0.0);
  Gaussian noise(0.0, stage.noise_rms);
  if (stage.noise_rms > 0.0) {
    for (double& value : x) value = noise(random);
  }
  const auto fade = std::max<std::size_t>(1, static_cast<std::size_t>(fade_s * stage.rate));
  double at = 0.0;
  for (const Played& stretch : stretches) {
    const auto first = static_cast<std::size_t>(at * stage.rate);
    at += stretch.seconds;
    const auto end = std::min(x.size(), static_cast<std::size_t>(at * stage.rate));
    if (stretch.input_dbfs)
      add_tone(x, first, end, recorded_tone(stage, *stretch.input_dbfs), stage, fade);
  }
  return x;
}

std::optional<double> true_thdn_onset(const Stage& stage, double limit) {
  const double noise =
      stage.noise_rms * stage.noise_rms * band_high_hz / std::max(band_high_hz, 0.5 * stage.rate);
  return solve([&](double input) {
    const Powers p = powers(stage, input);
    return (p.harmonics + noise) / (p.fundamental + p.harmonics + noise) - limit * limit;
  });
}

double true_level(const Stage& stage, double input_dbfs) {
  const Powers p = powers(stage, input_dbfs);
  return 10.0 * std::log10(2.0 * (p.fundamental + p.harmonics));
}

std::optional<double> true_compression_onset(const Stage& stage, double limit_db) {
  constexpr double soft = -60.0;
  const double gain = true_level(stage, soft) - soft;
  return solve([&](double input) { return gain - limit_db - (true_level(stage, input) - input); });
}

}  // namespace railtap::test
