// SPDX-License-Identifier: MIT
// What reads the virtual rig at its terminals: tap and sound card, and a multimeter.
#include "rig/instruments.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <memory>
#include <string>

#include "rig/description.hpp"
#include "rig/filter.hpp"
#include "rig/output_stage.hpp"
#include "signal/generator.hpp"
#include "units/error.hpp"

namespace railtap::rig {
namespace {

constexpr double percent = 0.01;
constexpr std::size_t block_frames = 256;
constexpr int second_decimation = 2;
constexpr int first_decimation = oversampling / second_decimation;

/// Automatic level control at work; volts do not matter to it, only full scales.
struct LevelKeeper {
  double limit = 0.0;                           // peak; 0: off
  double rise = 1.0, fall = 1.0, forget = 1.0;  // factors of one sample
  double hysteresis = 1.0, lowest = 1.0;
  double gain = 1.0, envelope = 0.0;
  bool falling = false;
};

LevelKeeper make_keeper(const SoundCard& card) {
  // It takes the gain back at this rate, and its envelope forgets in this time (common practice).
  constexpr double fall_db_per_s = 60.0;
  constexpr double forget_s = 0.05;
  LevelKeeper keeper;
  if (!card.level_control) return keeper;
  const LevelControl& control = *card.level_control;
  const double rate = card.rate.value();
  keeper.limit = sine_peak(control.level);
  keeper.rise = amplitude_ratio(Decibels(control.rise_db_per_s / rate));
  keeper.fall = amplitude_ratio(Decibels(-fall_db_per_s / rate));
  keeper.forget = std::exp(-1.0 / (forget_s * rate));
  keeper.hysteresis = amplitude_ratio(-control.hysteresis);
  keeper.lowest = amplitude_ratio(-control.range);
  return keeper;
}

double kept(LevelKeeper& keeper, double x) {
  if (keeper.limit == 0.0) return x;
  const double y = x * keeper.gain;
  keeper.envelope = std::max(std::abs(y), keeper.envelope * keeper.forget);
  if (keeper.envelope > keeper.limit) keeper.falling = true;
  if (keeper.envelope < keeper.limit * keeper.hysteresis) keeper.falling = false;
  keeper.gain =
      std::clamp(keeper.gain * (keeper.falling ? keeper.fall : keeper.rise), keeper.lowest, 1.0);
  return y;
}

/// One input of the card.
struct CardLane {
  double scale = 1.0;  // full scales per volt
  std::optional<OnePole> tap_coupling, card_coupling;
  Filter anti_alias;
  bool limits_input = false;
  double input_limit = 0.0, last_in = 0.0;
  Decimator first{first_decimation, converter_passband / oversampling};
  Decimator second{second_decimation, converter_passband / second_decimation};
  double noise = 0.0, dc = 0.0, code_step = 0.0;
  bool dither = true;
  signal::Random random{0};
  LevelKeeper keeper;
  std::vector<double> middle, result;
};

CardLane make_lane(const Rig& rig, std::size_t channel, Hertz high_rate) {
  const SoundCard& card = rig.sound_card;
  CardLane lane;
  lane.scale = 1.0 / volts_per_full_scale(rig).value();
  lane.limits_input = card.input_limit.has_value();
  lane.input_limit = percent * card.input_limit.value_or(Percent(0.0)).value();
  const Hertz capacitor_rate = lane.limits_input ? high_rate : card.rate;
  if (rig.tap.coupling) lane.tap_coupling = one_pole(*rig.tap.coupling, capacitor_rate);
  if (card.coupling) lane.card_coupling = one_pole(*card.coupling, capacitor_rate);
  lane.anti_alias = make_filter(
      Pass::low, {card.anti_alias.value_or(Hertz(0.0)), card.anti_alias ? 2 : 0}, high_rate);
  // A level in dBFS is that of a sine's RMS, 1/√2 at 0; stated for 20 Hz … 20 kHz of the band.
  const double band_share = card.rate.value() / 2.0 / 19980.0;
  lane.noise = sine_peak(card.noise) * std::sqrt(band_share / 2.0);
  lane.dc = percent * card.dc.value();
  lane.code_step = std::ldexp(1.0, 1 - card.bits);
  lane.dither = card.dither;
  lane.random = signal::Random(rig.seed * 8 + 100000 + channel);
  lane.keeper = make_keeper(card);
  lane.middle.resize(block_frames * second_decimation);
  lane.result.resize(block_frames);
  return lane;
}

double convert(CardLane& lane, double x) {
  x = kept(lane.keeper, x + lane.dc + lane.noise * lane.random.gaussian());
  const double dither = lane.dither ? lane.random.triangular() : 0.0;
  const double code = std::nearbyint(x / lane.code_step + dither);
  return std::clamp(code * lane.code_step, -1.0, 1.0 - lane.code_step);
}

void pass_capacitors(CardLane& lane, std::span<double> block) {
  if (lane.tap_coupling) couple(*lane.tap_coupling, block);
  if (lane.card_coupling) couple(*lane.card_coupling, block);
}

void limit_input(CardLane& lane, std::span<double> block) {
  const Rails rails{lane.input_limit, lane.input_limit, 0.0};
  for (double& x : block) {
    const double mean = limited_mean(rails, lane.last_in, x);
    lane.last_in = x;
    x = mean;
  }
}

void process(CardLane& lane, std::vector<double>& volts) {
  for (double& x : volts) x *= lane.scale;
  if (lane.limits_input) {
    pass_capacitors(lane, volts);
    process(lane.anti_alias, volts);
    limit_input(lane, volts);
  } else {
    process(lane.anti_alias, volts);
  }
  lane.first.process(volts, lane.middle);
  lane.second.process(lane.middle, lane.result);
  // Nothing but linear filters in between: the capacitors cost less at the lower rate.
  if (!lane.limits_input) pass_capacitors(lane, lane.result);
  for (double& x : lane.result) x = convert(lane, x);
}

/// Where frames are lost, in frames of the recording; 0: nowhere.
struct LossCounter {
  std::int64_t every = 0, length = 0;
  std::int64_t at = 0;

  /// Whether the next frame is lost. The first loss comes one interval after the start.
  bool next() {
    if (every == 0) return false;
    const std::int64_t place = at++ % every;
    return at > every && place < length;
  }
};

LossCounter make_losses(const Losses& losses, Hertz rate) {
  LossCounter counter;
  if (!losses.every) return counter;
  counter.every = std::max<std::int64_t>(1, std::llround(losses.every->value() * rate.value()));
  counter.length = std::max<std::int64_t>(1, std::llround(losses.length.value() * rate.value()));
  return counter;
}

/// The filters' delay at the high rate, in samples.
int filter_delay() {
  const CardLane lane;
  return static_cast<int>(lane.first.delay() + lane.second.delay() * first_decimation);
}

/// A recording in progress.
struct Recording {
  Terminals terminals;
  std::vector<CardLane> lanes;
  std::vector<std::vector<double>> blocks;
  std::size_t drop;                     // frames to leave out, for the filters' delay
  std::size_t position = block_frames;  // next frame of the block to hand out
  std::int64_t frames_left_behind = 0;  // frames of filter delay still to come after the end
  std::size_t valid = block_frames;     // frames of the block before the end
  bool ended = false;
  LossCounter gaps{}, missing{};

  void next_block() {
    const std::size_t high = terminals.read(blocks);
    for (std::size_t c = 0; c < lanes.size(); ++c) process(lanes[c], blocks[c]);
    const std::size_t whole = (high + oversampling - 1) / oversampling;
    owed(whole);
    position = 0;
    if (drop > 0) {
      const std::size_t dropped = std::min(drop, block_frames);
      drop -= dropped;
      position = dropped;
    }
  }

  /// What leaves the filters lags behind what enters them: the end comes that much later.
  void owed(std::size_t whole) {
    valid = block_frames;
    if (whole == block_frames) return;
    const auto room = static_cast<std::int64_t>(block_frames - whole);
    const std::int64_t paid = std::min(room, frames_left_behind);
    frames_left_behind -= paid;
    valid = whole + static_cast<std::size_t>(paid);
    ended = valid < block_frames;
  }

  std::size_t read(std::span<double> interleaved) {
    const std::size_t channels = lanes.size();
    const std::size_t wanted = interleaved.size() / channels;
    std::size_t done = 0;
    while (done < wanted) {
      if (position >= valid) {
        if (ended) break;
        next_block();
        continue;
      }
      const bool lost = missing.next();
      const bool silent = gaps.next();
      for (std::size_t c = 0; c < channels; ++c) {
        interleaved[done * channels + c] = silent ? 0.0 : lanes[c].result[position];
      }
      ++position;
      if (!lost) ++done;
    }
    return done;
  }
};

}  // namespace

audio::Source record(const Rig& rig, const Play& play, audio::Source track) {
  if (bridge_tied(rig, play.point) && !rig.tap.bridge_tied) {
    throw Error("the tap would ground one side of a bridge-tied output, which can destroy it",
                rig.name,
                "describe a tap with resistors and capacitors in both legs: "
                "bridge_tied = true under [tap]");
  }
  const SoundCard& card = rig.sound_card;
  audio::StreamFormat format;
  format.rate = card.rate;
  format.channels = channel_count(rig, play.point);
  format.encoding = "virtual rig, " + std::to_string(card.bits) + "-bit";
  format.code_step = std::ldexp(1.0, 1 - card.bits);
  const int delay = filter_delay();
  auto recording = std::make_shared<Recording>(Recording{
      Terminals(rig, play, std::move(track), card.rate, card.clock_ppm, delay % oversampling),
      {},
      std::vector<std::vector<double>>(static_cast<std::size_t>(format.channels),
                                       std::vector<double>(block_frames * oversampling)),
      static_cast<std::size_t>(delay / oversampling),
      block_frames,
      delay / oversampling});
  recording->gaps = make_losses(card.gaps, card.rate);
  recording->missing = make_losses(card.missing, card.rate);
  for (int c = 0; c < format.channels; ++c) {
    recording->lanes.push_back(
        make_lane(rig, static_cast<std::size_t>(c), recording->terminals.rate()));
  }
  return {format, [recording](std::span<double> out) { return recording->read(out); }};
}

namespace {

/// The waveform is followed at this rate times `oversampling`, whatever the sound card does.
constexpr Hertz base_rate{48000.0};
constexpr std::size_t block_samples = 4096;

/// Corner over band edge of one pole that takes 0.5 % at the edge: 1/√(1/0.995² − 1).
constexpr double corner_over_edge = 9.962;

/// The input of the meter's circuit.
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
