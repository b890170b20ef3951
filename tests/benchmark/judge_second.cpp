// SPDX-License-Identifier: MIT
// How long one second of stereo takes from samples to verdicts, in processor time of
// one core; the median of many.
#include <time.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <optional>
#include <random>
#include <span>
#include <vector>

#include "judge/analysis.hpp"
#include "measure/recording.hpp"

namespace {

using namespace railtap;

constexpr double rate = 48000.0;
constexpr double code_step = 1.0 / 8388608.0;  // 24 bit

// Clipped at both rails, 60 dB signal to noise, another phase each time.
std::vector<double> second_of_tone(std::mt19937_64& random, double hertz) {
  constexpr double amplitude = 0.5;
  constexpr double rail = 0.4;
  std::normal_distribution<double> noise(0.0, amplitude / std::numbers::sqrt2 * 1e-3);
  const double phase = std::uniform_real_distribution<double>(0.0, 6.28)(random);
  std::vector<double> samples;
  for (int n = 0; n < static_cast<int>(rate); ++n) {
    const double angle = 2.0 * std::numbers::pi * hertz * n / rate + phase;
    const double value = std::clamp(amplitude * std::sin(angle), -rail, rail) + noise(random);
    samples.push_back(std::round(value / code_step) * code_step);
  }
  return samples;
}

// What `watch` does with a block: its meter goes on from block to block, and knows the tone's
// frequency from the block before.
struct LiveMeter {
  measure::BlockMeter meter{Hertz(rate), {Hertz(20.0), Hertz(20000.0)}};
  measure::CycleFold fold;
  std::optional<Hertz> near;

  judge::Verdict judge(std::span<const double> samples) {
    measure::Segment segment;
    segment.figures = measure::figures(samples);
    segment.measurement = meter.measure(samples, near);
    segment.clip = measure::fit_clipped_sine(segment.measurement.series);
    near = segment.measurement.series.fundamental;
    constexpr double sine_after_cosine = 0.25;
    fold.clear();
    fold.add(samples,
             segment.measurement.start_phase / (2.0 * std::numbers::pi) + sine_after_cosine,
             *near / Hertz(rate));
    segment.fold = measure::read_fold(fold.points(), *near, segment.clip->coupling);
    segment.agreement = measure::compare(*segment.fold, *segment.clip);
    return judge::judge_segment(segment, {}, judge::Limits{}).verdict;
  }
};

// The processor time of this thread, so that other work does not count.
double processor_ms() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return 1e3 * static_cast<double>(now.tv_sec) + 1e-6 * static_cast<double>(now.tv_nsec);
}

}  // namespace

int main() {
  constexpr int repetitions = 101;
  std::mt19937_64 random(1);
  for (const double hertz : {50.0, 997.0}) {
    std::array<LiveMeter, 2> channels;
    std::vector<double> milliseconds;
    int clipped = 0;
    for (int i = 0; i < repetitions; ++i) {
      const std::vector<double> samples = second_of_tone(random, hertz);
      const double started = processor_ms();
      for (LiveMeter& channel : channels) {
        clipped += channel.judge(samples) == judge::Verdict::clipped ? 1 : 0;
      }
      milliseconds.push_back(processor_ms() - started);
    }
    std::sort(milliseconds.begin(), milliseconds.end());
    std::printf("%.0f %.2f %.2f %d %d\n", hertz, milliseconds[repetitions / 2],
                milliseconds[repetitions / 10], clipped, 2 * repetitions);
  }
  return 0;
}
