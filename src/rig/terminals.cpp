// SPDX-License-Identifier: MIT
// Head unit and amplifier, from a track to volts.
#include "rig/terminals.hpp"

#include <cmath>
#include <numbers>
#include <string>

#include "rig/description.hpp"
#include "rig/output_stage.hpp"
#include "rig/player.hpp"
#include "signal/generator.hpp"
#include "units/error.hpp"

namespace railtap::rig {
namespace {

/// Corners of the tone controls' shelves (common practice).
constexpr Hertz bass_corner{100.0};
constexpr Hertz treble_corner{10000.0};
/// A volume control's step is smoothed, so that it does not click.
constexpr Hertz volume_smoothing{80.0};
/// The band that hiss is stated for.
constexpr Hertz hiss_low{20.0};
constexpr Hertz hiss_high{20000.0};

/// Of a mute, which a hand cannot turn to in finite time.
constexpr Decibels softest{-80.0};

Decibels gain_db(double factor) {
  return std::max(softest, Decibels(20.0 * std::log10(std::max(factor, 1e-9))));
}

/// Every control has a way of its own, the same in both channels.
std::optional<Hand> hand_of(const Rig& rig, std::uint64_t control, Hertz rate, double factor) {
  if (!rig.hand) return std::nullopt;
  return Hand(*rig.hand, rig.seed * 16 + control, rate, gain_db(factor));
}

/// White noise that has `rms` between 20 Hz and 20 kHz when sampled at `rate`.
double white_sigma(Volts rms, Hertz rate) {
  return rms.value() * std::sqrt(rate.value() / 2.0 / (hiss_high - hiss_low).value());
}

void add_noise(std::span<double> block, double sigma, signal::Random& random) {
  if (sigma <= 0.0) return;
  for (double& x : block) x += sigma * random.gaussian();
}

/// One output of the head unit.
struct HeadUnitLane {
  double full_peak = 0.0;  // of a full-scale sample at the highest step, volts
  bool has_tone = false;
  OnePole bass, treble, volume;
  std::optional<Hand> hand;
  double hiss = 0.0;
  signal::Random random{0};
  StageState stage;
  std::vector<double> gains;
};

HeadUnitLane make_lane(const Rig& rig, int step, bool rear, bool right, Hertz rate) {
  const HeadUnit& unit = rig.head_unit;
  HeadUnitLane lane;
  lane.full_peak = unit.full_output.value() * std::numbers::sqrt2 *
                   (rear ? amplitude_ratio(unit.rear_fader) : 1.0);
  const ToneControls& tone = unit.tone;
  lane.has_tone = tone.loudness || tone.bass.value() != 0.0 || tone.treble.value() != 0.0;
  lane.bass = one_pole(bass_corner, rate);
  lane.treble = one_pole(treble_corner, rate);
  lane.volume = one_pole(volume_smoothing, rate);
  lane.hand = hand_of(rig, 0, rate, volume_gain(unit, step));
  lane.hiss = white_sigma(unit.output.hiss, rate);
  lane.random = signal::Random(rig.seed * 8 + (rear ? 2 : 0) + (right ? 1 : 0));
  lane.stage = make_stage(unit.output, head_unit_rail(rig), unit.output.sag_resistance, {}, rate);
  return lane;
}

/// Shelves: what a filter passes is added with gain − 1. Loudness fades out towards the highest
/// step.
void apply_tone(HeadUnitLane& lane, const HeadUnit& unit, int step, std::span<double> block) {
  const double quietness = unit.tone.loudness ? 1.0 - static_cast<double>(step) / unit.steps : 0.0;
  const Decibels loud = unit.tone.loudness_boost * quietness;
  const double bass = amplitude_ratio(unit.tone.bass + loud) - 1.0;
  const double treble = amplitude_ratio(unit.tone.treble + loud / 2.0) - 1.0;
  for (double& x : block) x += bass * lane.bass.low(x) + treble * lane.treble.high(x);
}

void turn_by_hand(Hand& hand, double wanted, double scale, std::span<double> block,
                  std::vector<double>& gains) {
  gains.resize(block.size());
  hand.fill(gains, gain_db(wanted));
  for (std::size_t n = 0; n < block.size(); ++n) block[n] *= scale * gains[n];
}

void turn_volume(HeadUnitLane& lane, double gain, std::span<double> block) {
  constexpr double settled = 1e-12;
  if (std::abs(lane.volume.state - gain) <= settled * gain) {
    for (double& x : block) x *= gain;
  } else {
    for (double& x : block) x *= lane.volume.low(gain);
  }
}

void process(HeadUnitLane& lane, const HeadUnit& unit, int step, std::span<double> block) {
  if (lane.has_tone) apply_tone(lane, unit, step, block);
  const double gain = volume_gain(unit, step);
  if (lane.hand && gain > 0.0) {
    turn_by_hand(*lane.hand, gain, lane.full_peak, block, lane.gains);
  } else {
    turn_volume(lane, lane.full_peak * gain, block);
  }
  add_noise(block, lane.hiss, lane.random);
  process(lane.stage, block);
}

/// One channel of an amplifier.
struct AmplifierLane {
  Input input;
  double input_limit = 0.0;  // 0: none
  double last_in = 0.0;
  double input_hiss = 0.0, output_hiss = 0.0, gain = 0.0, mismatch = 1.0;
  std::optional<Hand> hand;
  Filter high_pass, low_pass;
  Boost boost;
  Tones tones;
  signal::Random random{0};
  StageState stage;
  std::vector<double> gains;
};

/// What arrives at a channel's input, with the faults of the wiring.
Input wired_input(const Control& control, std::size_t channel) {
  const auto own = [&](std::size_t c) {
    const std::size_t last = control.inputs.size() - 1;
    Input input = control.inputs[control.faults.swapped ? last - c : c];
    if (control.faults.silent[c]) input.left = input.right = 0.0;
    return input;
  };
  Input input = own(channel);
  if (!control.faults.crosstalk || control.inputs.size() < 2) return input;
  const double share = amplitude_ratio(*control.faults.crosstalk);
  const Input other = own(1 - channel);
  input.left += share * other.left;
  input.right += share * other.right;
  return input;
}

AmplifierLane make_lane(const Rig& rig, const Play& play, std::size_t channel, Hertz rate) {
  const Amplifier& amplifier = rig.amplifiers[play.point.amplifier];
  const Control& control = amplifier.controls[play.point.control];
  AmplifierLane lane;
  lane.input = wired_input(control, channel);
  lane.input_limit = amplifier.input_limit ? amplifier.input_limit->value() : 0.0;
  lane.input_hiss = white_sigma(amplifier.input_hiss, rate);
  lane.output_hiss = white_sigma(amplifier.output.hiss, rate);
  lane.mismatch = channel == 1 ? amplitude_ratio(control.mismatch) : 1.0;
  lane.gain = gain(amplifier, control);
  lane.hand = hand_of(rig, 1, rate, lane.gain);
  lane.high_pass = make_filter(Pass::high, control.high_pass, rate);
  lane.low_pass = make_filter(Pass::low, control.low_pass, rate);
  lane.boost = Boost(control.faults.bass_boost, control.faults.bass_boost_frequency, rate);
  lane.tones = tones_of(control.faults, rate);
  lane.random = signal::Random(rig.seed * 8 + 1000 * (play.point.amplifier + 1) +
                               10 * play.point.control + channel);
  std::optional<Ohms> load;
  if (play.speakers_connected) load = control.speaker_load;
  lane.stage = make_stage(amplifier.output, amplifier_rail(rig, amplifier),
                          sag_resistance(rig, amplifier), load, rate);
  return lane;
}

void limit_input(AmplifierLane& lane, std::span<double> block) {
  const Rails rails{lane.input_limit, lane.input_limit, 0.0};
  for (double& x : block) {
    const double mean = limited_mean(rails, lane.last_in, x);
    lane.last_in = x;
    x = mean;
  }
}

void process(AmplifierLane& lane, std::span<double> block) {
  if (lane.input_limit > 0.0) limit_input(lane, block);
  add_noise(block, lane.input_hiss, lane.random);
  if (lane.hand) {
    turn_by_hand(*lane.hand, lane.gain, lane.mismatch, block, lane.gains);
  } else {
    for (double& x : block) x *= lane.gain * lane.mismatch;
  }
  process(lane.high_pass, block);
  process(lane.low_pass, block);
  lane.boost.process(block);
  lane.tones.process(block);
  add_noise(block, lane.output_hiss, lane.random);
  process(lane.stage, block);
}

void check(const Rig& rig, const Play& play) {
  const bool known = play.point.at != TapPoint::At::amplifier ||
                     (play.point.amplifier < rig.amplifiers.size() &&
                      play.point.control < rig.amplifiers[play.point.amplifier].controls.size());
  if (!known) throw Error("the rig has no such terminals", "", "tap a control that it has");
  if (play.volume.empty()) throw Error("no volume step is given", "", "give one from the start");
  for (const VolumeChange& change : play.volume) {
    if (change.step >= 0 && change.step <= rig.head_unit.steps) continue;
    throw Error("the head unit has no volume step " + std::to_string(change.step), "",
                "give one of 0 to " + std::to_string(rig.head_unit.steps));
  }
}

bool rear_of(const Rig& rig, const TapPoint& point) {
  if (point.at != TapPoint::At::amplifier) return point.at == TapPoint::At::head_unit_rear;
  return rig.amplifiers[point.amplifier].controls[point.control].inputs.front().rear;
}

}  // namespace

int channel_count(const Rig& rig, const TapPoint& point) {
  if (point.at != TapPoint::At::amplifier) return 2;
  return static_cast<int>(rig.amplifiers[point.amplifier].controls[point.control].inputs.size());
}

bool bridge_tied(const Rig& rig, const TapPoint& point) {
  if (point.at != TapPoint::At::amplifier) return rig.head_unit.bridge_tied;
  return rig.amplifiers[point.amplifier].bridge_tied;
}

struct Terminals::State {
  Rig rig;
  Play play;
  Hertz rate;
  Player player;
  HeadUnitLane left, right;
  std::vector<AmplifierLane> amplifier;
  std::vector<double> left_block{}, right_block{};
  std::int64_t samples = 0;

  /// The step at a time since the capture began.
  [[nodiscard]] int step_at(Seconds time) const {
    int step = play.volume.front().step;
    for (const VolumeChange& change : play.volume) {
      if (time - play.before >= change.at) step = change.step;
    }
    return step;
  }

  /// The tapped control's gain at a time since the capture began; none where it is not turned.
  [[nodiscard]] std::optional<double> gain_at(Seconds time) const {
    std::optional<double> factor;
    for (const GainChange& change : play.gain) {
      if (time - play.before < change.at) break;
      const Amplifier& unit = rig.amplifiers[play.point.amplifier];
      Control control = unit.controls[play.point.control];
      control.travel = change.travel;
      factor = gain(unit, control);
    }
    return factor;
  }

  void mix(std::vector<std::vector<double>>& blocks) {
    if (amplifier.empty()) {
      blocks[0] = left_block;
      blocks[1] = right_block;
      return;
    }
    for (std::size_t c = 0; c < amplifier.size(); ++c) {
      const Input& input = amplifier[c].input;
      for (std::size_t n = 0; n < left_block.size(); ++n) {
        blocks[c][n] = input.left * left_block[n] + input.right * right_block[n];
      }
      process(amplifier[c], blocks[c]);
    }
  }
};

Terminals::Terminals(const Rig& rig, const Play& play, audio::Source track, Hertz card_rate,
                     double clock_ppm, int skip) {
  check(rig, play);
  constexpr double millionth = 1e-6;
  const Hertz rate = card_rate * oversampling;
  const double steps = rate * (1.0 + millionth * clock_ppm) / track.format.rate;
  const bool rear = rear_of(rig, play.point);
  state_ =
      std::make_unique<State>(State{rig,
                                    play,
                                    rate,
                                    Player(std::move(track), steps, play.before, play.after, skip),
                                    make_lane(rig, play.volume.front().step, rear, false, rate),
                                    make_lane(rig, play.volume.front().step, rear, true, rate),
                                    {}});
  if (play.point.at != TapPoint::At::amplifier) return;
  for (int c = 0; c < channel_count(rig, play.point); ++c) {
    state_->amplifier.push_back(make_lane(rig, play, static_cast<std::size_t>(c), rate));
  }
}

Terminals::Terminals(Terminals&&) noexcept = default;
Terminals& Terminals::operator=(Terminals&&) noexcept = default;
Terminals::~Terminals() = default;

Hertz Terminals::rate() const {
  return state_->rate;
}
int Terminals::channels() const {
  return channel_count(state_->rig, state_->play.point);
}

std::size_t Terminals::read(std::vector<std::vector<double>>& blocks) {
  State& state = *state_;
  state.left_block.resize(blocks.front().size());
  state.right_block.resize(blocks.front().size());
  const std::size_t valid = state.player.read(state.left_block, state.right_block);
  const Seconds now(static_cast<double>(state.samples) / state.rate.value());
  const int step = state.step_at(now);
  if (const auto gain = state.gain_at(now)) {
    for (AmplifierLane& lane : state.amplifier) lane.gain = *gain;
  }
  process(state.left, state.rig.head_unit, step, state.left_block);
  process(state.right, state.rig.head_unit, step, state.right_block);
  state.mix(blocks);
  state.samples += static_cast<std::int64_t>(blocks.front().size());
  return valid;
}

}  // namespace railtap::rig
