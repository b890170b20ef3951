// SPDX-License-Identifier: MIT
// From the waveform at the terminals to what the display shows.
#include "rig/multimeter.hpp"

#include <cmath>
#include <deque>

#include "units/error.hpp"

namespace railtap::rig {
namespace {

/// The waveform is followed at this rate times `oversampling`, whatever the sound card does.
constexpr Hertz base_rate{48000.0};
constexpr std::size_t block_samples = 4096;

/// Corner over band edge of one pole that takes 0.5 % at the edge: 1/√(1/0.995² − 1).
constexpr double corner_over_edge = 9.962;

/// What the meter's circuit sees.
struct Circuit {
  std::optional<OnePole> top, bottom;
  bool average = true;

  double rectified(double volts) {
    double x = volts;
    if (top) x = top->low(x);
    if (bottom) x = bottom->high(x);
    return average ? std::abs(x) : x * x;
  }
  [[nodiscard]] double shown(double mean) const {
    return average ? mean * electric::sine_form_factor : std::sqrt(mean);
  }
};

Circuit make_circuit(const electric::Meter& meter, Hertz rate) {
  Circuit circuit;
  if (meter.highest_frequency) {
    circuit.top = one_pole(*meter.highest_frequency * corner_over_edge, rate);
  }
  if (meter.lowest_frequency) {
    circuit.bottom = one_pole(*meter.lowest_frequency / corner_over_edge, rate);
  }
  circuit.average = meter.type == electric::MeterType::average_responding;
  return circuit;
}

/// A tone may fade out: the reading is taken this long before the end.
constexpr Seconds before_end{0.25};

/// The mean over one second, shortly before the end; sums are kept per block.
double mean_of_one_second(Terminals& terminals, Circuit& circuit) {
  std::vector<std::vector<double>> blocks(static_cast<std::size_t>(terminals.channels()),
                                          std::vector<double>(block_samples));
  const auto blocks_in = [&](Seconds time) {
    return static_cast<std::size_t>(terminals.rate().value() * time.value()) / block_samples;
  };
  const std::size_t window = blocks_in(Seconds(1.0));
  const std::size_t kept = blocks_in(Seconds(1.0) + before_end);
  std::deque<double> sums;
  while (terminals.read(blocks) == block_samples) {
    double sum = 0.0;
    for (const double x : blocks[0]) sum += circuit.rectified(x);
    sums.push_back(sum);
    if (sums.size() > kept) sums.pop_front();
  }
  if (sums.size() < kept) {
    throw Error("the track is too short to read a meter", "", "play a tone of at least 2 s");
  }
  double total = 0.0;
  for (std::size_t n = 0; n < window; ++n) total += sums[n];
  return total / static_cast<double>(window * block_samples);
}

}  // namespace

Volts read_meter(const Rig& rig, const Play& play, audio::Source track) {
  const Multimeter& meter = rig.multimeter;
  if (!meter.manual.resolution) {
    throw Error("the multimeter's last digit is not described", rig.name,
                "add resolution_v under [multimeter]");
  }
  Play steady = play;
  steady.after = Seconds(0.0);
  Terminals terminals(rig, steady, std::move(track), base_rate, 0.0, 0);
  Circuit circuit = make_circuit(meter.manual, terminals.rate());
  const double seen = circuit.shown(mean_of_one_second(terminals, circuit));
  constexpr double percent = 0.01;
  const double digit = meter.manual.resolution->value();
  const double wrong =
      seen * (1.0 + percent * meter.manual.of_reading.value() * meter.gain_error_share) +
      meter.offset_counts * digit;
  return Volts(std::max(0.0, std::round(wrong / digit) * digit));
}

}  // namespace railtap::rig
