// SPDX-License-Identifier: MIT
// A steady tone whose level is turned by hand in front of a stage with a known law.
#include "support/turned_tone.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::test {
namespace {

using std::numbers::pi;

constexpr double hand_s = 0.06;
constexpr std::size_t most_orders = 40;
constexpr double band_high_hz = 20000.0;
constexpr double grid_db = 0.05;  // levels at which the law is sampled

constexpr std::size_t points = 512;  // over half a cycle
using HalfCycle = std::array<double, points>;

const HalfCycle& cosines() {
  static const HalfCycle table = [] {
    HalfCycle values;
    for (std::size_t n = 0; n < points; ++n)
      values[n] = std::cos(pi * (static_cast<double>(n) + 0.5) / double{points});
    return values;
  }();
  return table;
}

// Σ y·cos kθ; goes on to the next order. \param here, before  cos kθ, cos (k − 1)θ
RAILTAP_VECTORIZE double next_product(const HalfCycle& y, const HalfCycle& cosine, HalfCycle& here,
                                      HalfCycle& before) {
  double sum = 0.0;
#pragma omp simd reduction(+ : sum)
  for (std::size_t n = 0; n < points; ++n) {
    const double at = here[n];
    sum += y[n] * at;
    here[n] = 2.0 * cosine[n] * at - before[n];
    before[n] = at;
  }
  return sum;
}

// Cosine coefficients 0 … orders of scale·law(peak·cos θ): real, as the law has no memory.
std::vector<double> coefficients(const Stage& stage, double input_dbfs, std::size_t orders) {
  const double peak = std::pow(10.0, input_dbfs / 20.0);
  const HalfCycle& cosine = cosines();
  HalfCycle y, here, before = cosine;
  here.fill(1.0);
  for (std::size_t n = 0; n < points; ++n)
    y[n] = stage.scale * stage.law(peak * cosine[n]) / double{points};
  std::vector<double> result(orders + 1, 0.0);
  for (std::size_t k = 0; k <= orders; ++k)
    result[k] = (k == 0 ? 1.0 : 2.0) * next_product(y, cosine, here, before);
  return result;
}

// The law's coefficients over the level, straight lines between grid points.
class Table {
 public:
  Table(const Stage& stage, const std::vector<double>& levels, std::size_t orders) {
    const auto [low, high] = std::minmax_element(levels.begin(), levels.end());
    first_ = *low;
    const auto count = static_cast<std::size_t>((*high - *low) / grid_db) + 2;
    for (std::size_t i = 0; i < count; ++i) {
      rows_.push_back(coefficients(stage, first_ + grid_db * static_cast<double>(i), orders));
    }
  }
  void at(double level, std::vector<double>& row) const {
    const double place = (level - first_) / grid_db;
    const auto i = std::min(static_cast<std::size_t>(std::max(0.0, place)), rows_.size() - 2);
    const double share = place - static_cast<double>(i);
    for (std::size_t k = 0; k < row.size(); ++k) {
      row[k] = rows_[i][k] + share * (rows_[i + 1][k] - rows_[i][k]);
    }
  }

 private:
  double first_ = 0.0;
  std::vector<std::vector<double>> rows_;
};

// Σ a_k·cos kθ by Clenshaw's recurrence, for some cosines.
constexpr std::size_t held = 8;  // samples that share one row of coefficients
RAILTAP_VECTORIZE void sums_of(const double* a, std::size_t orders, const double* cosine,
                               double* out) {
  double next[held] = {}, after[held] = {};
  for (std::size_t k = orders; k > 0; --k) {
#pragma omp simd
    for (std::size_t n = 0; n < held; ++n) {
      const double here = a[k] + 2.0 * cosine[n] * next[n] - after[n];
      after[n] = next[n];
      next[n] = here;
    }
  }
  for (std::size_t n = 0; n < held; ++n) out[n] = a[0] + cosine[n] * next[n] - after[n];
}

// A high-pass of first order, by the bilinear transform.
void couple(std::vector<double>& x, double corner_hz, double rate) {
  const double k = std::tan(pi * corner_hz / rate);
  const double gain = 1.0 / (1.0 + k);
  const double pole = (1.0 - k) / (1.0 + k);
  double before = x.empty() ? 0.0 : x[0];
  double out = 0.0;
  for (double& value : x) {
    out = pole * out + gain * (value - before);
    before = value;
    value = out;
  }
}

void round_to(std::vector<double>& x, int bits, Random& random) {
  const double step = std::ldexp(1.0, 1 - bits);
  for (double& value : x) {
    value =
        step * std::round(value / step + between(random, -0.5, 0.5) + between(random, -0.5, 0.5));
    value = std::clamp(value, -1.0, 1.0 - step);
  }
}

}  // namespace

std::vector<double> turned_level(double from_dbfs, const std::vector<Turned>& turns, double rate) {
  std::vector<double> level;
  double at = from_dbfs;
  for (const Turned& turned : turns) {
    const auto count = static_cast<std::size_t>(turned.seconds * rate);
    for (std::size_t n = 0; n < count; ++n) {
      at += turned.change_db / static_cast<double>(count);
      level.push_back(at);
    }
  }
  // A running mean of the level is one of its speed.
  const auto reach = static_cast<std::ptrdiff_t>(0.5 * hand_s * rate);
  const auto last = static_cast<std::ptrdiff_t>(level.size()) - 1;
  std::vector<double> smooth(level.size());
  double sum = 0.0;
  const auto held = [&](std::ptrdiff_t n) {
    return level[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(n, 0, last))];
  };
  for (std::ptrdiff_t n = -reach; n <= reach; ++n) sum += held(n);
  for (std::ptrdiff_t n = 0; n <= last; ++n) {
    smooth[static_cast<std::size_t>(n)] = sum / static_cast<double>(2 * reach + 1);
    sum += held(n + reach + 1) - held(n - reach);
  }
  return smooth;
}

std::vector<double> turn(const std::vector<double>& input_dbfs, const Stage& stage,
                         double coupling_hz, int bits, Random& random) {
  const auto orders = std::min(most_orders, static_cast<std::size_t>(band_high_hz / stage.hz));
  const Table table(stage, input_dbfs, orders);
  std::vector<double> row(orders + 1);
  std::vector<double> x(input_dbfs.size());
  const double phase = random.uniform();
  for (std::size_t first = 0; first < x.size(); first += held) {
    table.at(input_dbfs[std::min(first + held / 2, x.size() - 1)], row);
    double cosine[held], sums[held];
    for (std::size_t n = 0; n < held; ++n) {
      const double cycles = phase + stage.hz / stage.rate * static_cast<double>(first + n);
      cosine[n] = std::cos(2.0 * pi * (cycles - std::floor(cycles)));
    }
    sums_of(row.data(), orders, cosine, sums);
    std::copy_n(sums, std::min(held, x.size() - first),
                x.begin() + static_cast<std::ptrdiff_t>(first));
  }
  couple(x, coupling_hz, stage.rate);
  Gaussian noise(0.0, stage.noise_rms);
  if (stage.noise_rms > 0.0) {
    for (double& value : x) value += noise(random);
  }
  if (bits > 0) round_to(x, bits, random);
  return x;
}

SteadyTone steady_tone(const Stage& stage, double input_dbfs) {
  const auto orders = std::min(most_orders, static_cast<std::size_t>(band_high_hz / stage.hz));
  const std::vector<double> a = coefficients(stage, input_dbfs, orders);
  double fundamental = 0.0;
  double harmonics = 0.0;
  for (std::size_t k = 1; k <= orders; ++k) {
    const double gain = std::abs(stage.chain(stage.hz * static_cast<double>(k)));
    (k == 1 ? fundamental : harmonics) += 0.5 * a[k] * a[k] * gain * gain;
  }
  const double noise = stage.noise_rms * stage.noise_rms * band_high_hz / (0.5 * stage.rate);
  SteadyTone tone;
  tone.level_dbfs = 10.0 * std::log10(2.0 * (fundamental + harmonics));
  tone.thdn = std::sqrt((harmonics + noise) / (fundamental + harmonics + noise));
  return tone;
}

std::optional<double> thdn_input(const Stage& stage, double ratio, double high_dbfs) {
  constexpr double step = 0.5;
  double high = high_dbfs;
  while (high > high_dbfs - 20.0 && steady_tone(stage, high - step).thdn >= ratio) high -= step;
  if (high <= high_dbfs - 20.0 || steady_tone(stage, high).thdn < ratio) return std::nullopt;
  double low = high - step;
  for (int i = 0; i < 20; ++i) {
    const double middle = 0.5 * (low + high);
    (steady_tone(stage, middle).thdn < ratio ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace railtap::test
