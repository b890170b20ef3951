// SPDX-License-Identifier: MIT
// Rails that cut peaks between the samples, found from what a low-pass leaves of that; the waveform
// and the filter are made here.
#include "measure/cut_peaks.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::measure;
using namespace railtap::test;

namespace {

using std::numbers::pi;

constexpr double rate = 48000.0;
constexpr int fine = 8;
constexpr int samples = 40000;

/// Twelve sines from 3 to 19 kHz, eight times oversampled: peaks of single samples, few of them
/// high.
std::vector<double> fine_waveform() {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> share(0.0, 1.0);
  std::vector<double> x(fine * samples, 0.0);
  for (int k = 0; k < 12; ++k) {
    const double step = 2.0 * pi * (3000.0 + 16000.0 * share(random)) / (fine * rate);
    const double phase = 2.0 * pi * share(random);
    for (std::size_t n = 0; n < x.size(); ++n)
      x[n] += 0.05 * std::sin(step * static_cast<double>(n) + phase);
  }
  return x;
}

/// Takes what is beyond a level out of the samples, through a low-pass: a sinc of 32 zero crossings
/// to each side under a Hann window.
void take_out(std::vector<double>& y, std::size_t place, double excess) {
  constexpr int crossings = 32;
  const double at = static_cast<double>(place) / fine;
  const auto middle = static_cast<int>(at);
  for (int n = std::max(0, middle - crossings); n < std::min(samples, middle + crossings); ++n) {
    const double t = static_cast<double>(n) - at;
    const double sinc = t == 0.0 ? 1.0 : std::sin(pi * t) / (pi * t);
    y[static_cast<std::size_t>(n)] -=
        excess / fine * sinc * (0.5 + 0.5 * std::cos(pi * t / (crossings + 1)));
  }
}

struct Pair {
  std::vector<double> recorded, predicted;
  double highest = 0.0;
};

/// \param share rail over the highest peak, of the positive side
Pair cut_at(double share, double noise_rms) {
  const auto x = fine_waveform();
  Pair pair;
  for (std::size_t n = 0; n < x.size(); n += fine) pair.predicted.push_back(x[n]);
  pair.recorded = pair.predicted;
  pair.highest = *std::max_element(x.begin(), x.end());
  for (std::size_t n = 0; n < x.size(); ++n)
    if (x[n] > share * pair.highest) take_out(pair.recorded, n, x[n] - share * pair.highest);
  std::mt19937 random(6);
  std::normal_distribution<double> noise(0.0, noise_rms);
  for (double& v : pair.recorded) v += noise(random);
  return pair;
}

CutPeaks fitted(const Pair& pair) {
  CutPeakWindows windows(Hertz(rate), Hertz(8.0));
  constexpr std::size_t block = 4096;
  for (std::size_t n = 0; n < pair.recorded.size(); n += block) {
    const std::size_t count = std::min(block, pair.recorded.size() - n);
    windows.add(std::span(pair.recorded).subspan(n, count),
                std::span(pair.predicted).subspan(n, count));
  }
  return windows.read();
}

}  // namespace

TEST_CASE("cut peaks: a rail 1 dB below the highest of peaks as short as samples is found") {
  const double share = std::pow(10.0, -1.0 / 20.0);
  const Pair pair = cut_at(share, 2e-4);
  const CutPeaks cut = fitted(pair);
  CHECK(within_db(cut.positive.level, share * pair.highest, 0.1));
  CHECK(within_db(cut.positive.highest, pair.highest, 0.1));
  CHECK(within_abs(cut.positive.gain / cut.positive.missing, 1.0, 0.2));
  CHECK(cut.positive.left < 0.2);
}

TEST_CASE("cut peaks: noise takes nothing away that a rail would") {
  const CutPeaks cut = fitted(cut_at(2.0, 2e-4));
  for (const CutSide& side : {cut.positive, cut.negative})
    CHECK((side.level == 0.0 || side.gain < 0.5 * side.missing || side.left > 0.8));
}

TEST_CASE("cut peaks: nothing predicted, nothing found") {
  const std::vector<double> silence(20000, 0.0);
  const CutPeaks cut = fitted({silence, silence, 0.0});
  CHECK(cut.positive.level == 0.0);
  CHECK(cut.negative.peaks == 0);
}
