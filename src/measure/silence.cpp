// SPDX-License-Identifier: MIT
// Noise powers averaged over blocks, and lines that stay.
#include "measure/silence.hpp"

#include <algorithm>
#include <cmath>

#include "measure/spectrum.hpp"

namespace railtap::measure {
namespace {

constexpr Seconds shortest{0.5}, block_length{1.0};
constexpr Hertz audible_low{20.0}, audible_high{20000.0};
// One block's lines are those of another within this; more than a hertz of drift in a second is no
// line.
constexpr Hertz same_line{2.0};

/// A line gathered over blocks.
struct Gathered {
  double frequency_sum = 0.0, mean_square_sum = 0.0;
  int blocks = 0;
  [[nodiscard]] double frequency() const { return frequency_sum / blocks; }
};

void gather(std::vector<Gathered>& lines, Hertz frequency, double mean_square) {
  if (!(mean_square > 0.0)) return;
  const auto same = std::find_if(lines.begin(), lines.end(), [&](const Gathered& g) {
    return std::abs(g.frequency() - frequency.value()) < same_line.value();
  });
  Gathered& line = same != lines.end() ? *same : lines.emplace_back();
  line.frequency_sum += frequency.value();
  line.mean_square_sum += mean_square;
  ++line.blocks;
}

// Hum alone looks like a tone with harmonics; here these are lines as well.
void gather_lines(std::vector<Gathered>& lines, const BlockMeasurement& block, double least) {
  for (const auto& line : block.lines) gather(lines, line.frequency, line.mean_square);
  if (!block.tone) return;
  for (std::size_t k = 0; k < block.series.phasor.size(); ++k) {
    const double mean_square = std::norm(block.series.phasor[k]) / 2.0;
    if (mean_square > least)
      gather(lines, block.series.fundamental * static_cast<double>(k + 1), mean_square);
  }
}

std::vector<InterferenceLine> steady(const std::vector<Gathered>& lines, int blocks) {
  std::vector<InterferenceLine> list;
  for (const Gathered& g : lines) {
    if (2 * g.blocks >= blocks) list.push_back({Hertz(g.frequency()), g.mean_square_sum / blocks});
  }
  std::sort(list.begin(), list.end(), [](const InterferenceLine& a, const InterferenceLine& b) {
    return a.mean_square > b.mean_square;
  });
  return list;
}

/// A-weighted mean square of a block up to half the rate.
class WholeWeight {
 public:
  WholeWeight(std::size_t length, Hertz rate)
      : spectrum_(Spectrum::good_length(length)), weights_(spectrum_.bins(), 0.0) {
    const double bin = rate.value() / static_cast<double>(spectrum_.length());
    // Below, the window's main lobe still holds DC.
    const auto first = static_cast<std::size_t>(std::ceil(10.0 / bin));
    for (std::size_t k = std::max<std::size_t>(first, 5); k < weights_.size(); ++k) {
      weights_[k] = a_weight(Hertz(bin * static_cast<double>(k)));
    }
  }
  [[nodiscard]] double mean_square(std::span<const double> samples) {
    spectrum_.transform(samples);
    double sum = 0.0;
    for (std::size_t k = 0; k < weights_.size(); ++k) sum += weights_[k] * spectrum_.mean_square(k);
    return sum;
  }

 private:
  Spectrum spectrum_;
  std::vector<double> weights_;
};

}  // namespace

SilenceReading measure_silence(std::span<const double> samples, Hertz rate) {
  SilenceReading reading;
  const auto block =
      std::min(static_cast<std::size_t>(block_length.value() * rate.value()), samples.size());
  if (static_cast<double>(samples.size()) < shortest.value() * rate.value()) return reading;
  const Hertz half = rate * 0.4999;
  BlockMeter audible(rate, {audible_low, std::min(audible_high, half)});
  BlockMeter whole(rate, {Hertz(10.0), half});
  WholeWeight weight(block, rate);
  std::vector<Gathered> lines;
  int blocks = 0;
  // Overlapping blocks, since each is weighted towards its middle.
  for (std::size_t at = 0; at + block <= samples.size(); at += block / 2, ++blocks) {
    const auto part = samples.subspan(at, block);
    reading.noise += audible.measure(part).noise;
    const BlockMeasurement measured = whole.measure(part);
    reading.noise_a += measured.noise_a;
    reading.whole_a += weight.mean_square(part);
    // A line's share of the noise in its own few bins is no line.
    gather_lines(lines, measured, measured.noise / static_cast<double>(block) * 100.0);
  }
  reading.noise /= blocks;
  reading.noise_a /= blocks;
  reading.whole_a /= blocks;
  reading.lines = steady(lines, blocks);
  reading.length = Seconds(static_cast<double>(samples.size()) / rate.value());
  return reading;
}

}  // namespace railtap::measure
