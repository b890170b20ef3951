// SPDX-License-Identifier: MIT
// The reading thread, and the virtual rig as a source whose controls move while it plays.
#include "live/feed.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <condition_variable>
#include <deque>
#include <exception>
#include <memory>
#include <mutex>
#include <numbers>
#include <thread>
#include <utility>
#include <vector>

#include "electric/target.hpp"
#include "rig/instruments.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::live {
namespace {

constexpr double block_s = 0.01;

}  // namespace

// Shared by both threads; the lock holds only while samples are moved.
struct Feed::State {
  audio::Source source;
  std::function<std::int64_t()> count_losses;
  std::size_t channels = 1;
  std::size_t most = 0;  // samples that are read ahead
  mutable std::mutex lock;
  std::condition_variable changed;
  std::deque<double> samples;
  bool done = false;     // the source has no more
  bool stopped = false;  // no more is needed
  std::exception_ptr failure;
  std::int64_t losses = 0;

  void read_all();
  bool hand_over(std::span<const double> block);
};

bool Feed::State::hand_over(std::span<const double> block) {
  const std::int64_t lost = count_losses ? count_losses() : 0;
  std::unique_lock guard(lock);
  changed.wait(guard, [this] { return stopped || samples.size() < most; });
  samples.insert(samples.end(), block.begin(), block.end());
  losses = lost;
  changed.notify_all();
  return !stopped;
}

void Feed::State::read_all() {
  try {
    const double rate = source.format.rate.value();
    std::vector<double> block(std::max<std::size_t>(1, static_cast<std::size_t>(block_s * rate)) *
                              channels);
    for (;;) {
      const std::size_t frames = source.read(block);
      const bool wanted = hand_over(std::span(block).first(frames * channels));
      if (frames == 0 || !wanted) break;
    }
  } catch (...) {
    const std::lock_guard guard(lock);
    failure = std::current_exception();
  }
  const std::lock_guard guard(lock);
  done = true;
  changed.notify_all();
}

Feed::Feed(audio::Source source, std::function<std::int64_t()> losses, Seconds ahead)
    : state_(std::make_shared<State>()) {
  state_->channels = static_cast<std::size_t>(source.format.channels);
  state_->most =
      static_cast<std::size_t>(ahead.value() * source.format.rate.value()) * state_->channels;
  state_->source = std::move(source);
  state_->count_losses = std::move(losses);
  std::thread([state = state_] { state->read_all(); }).detach();
}

Feed::~Feed() {
  constexpr std::chrono::milliseconds patience{500};
  std::unique_lock guard(state_->lock);
  state_->stopped = true;
  state_->changed.notify_all();
  state_->changed.wait_for(guard, patience, [this] { return state_->done; });
}

const audio::StreamFormat& Feed::format() const {
  return state_->source.format;
}

std::vector<double> Feed::take(std::size_t most, Seconds wait) {
  std::unique_lock guard(state_->lock);
  const std::chrono::duration<double> patience(wait.value());
  state_->changed.wait_for(guard, patience,
                           [this] { return state_->done || !state_->samples.empty(); });
  const std::size_t count = std::min(most * state_->channels, state_->samples.size());
  const auto end = state_->samples.begin() + static_cast<std::ptrdiff_t>(count);
  std::vector<double> taken(state_->samples.begin(), end);
  state_->samples.erase(state_->samples.begin(), end);
  state_->changed.notify_all();
  if (taken.empty() && state_->failure) std::rethrow_exception(state_->failure);
  return taken;
}

bool Feed::ended() const {
  const std::lock_guard guard(state_->lock);
  return state_->done && state_->samples.empty();
}

std::int64_t Feed::losses() const {
  const std::lock_guard guard(state_->lock);
  return state_->losses;
}

namespace {

constexpr double turn_of_gain = 0.01;  // of the travel, a key press
// Long enough for filters, capacitors and sagging rails to settle behind a turn.
constexpr Seconds settling{0.2};
constexpr std::string_view head_unit_name = "head unit";

struct Settings {
  int volume = 0;
  double travel = 0.0;
  bool operator==(const Settings&) const = default;
};

struct State {
  rig::Rig rig;
  rig::TapPoint point;
  Hertz tone{1000.0};
  std::mutex lock;  // of `wanted`, which the keys set and the reading thread takes
  Settings wanted;
  Settings built;
  audio::Source recording;  // of the reading thread alone
  std::vector<double> settling_block;
  std::size_t turning = 0;  // frames that a hand still needs

  [[nodiscard]] bool has_gain() const { return point.at == rig::TapPoint::At::amplifier; }
  [[nodiscard]] rig::Control& control() {
    return rig.amplifiers[point.amplifier].controls[point.control];
  }
  void build(Settings settings);
};

// Full scale on both channels, without end.
audio::Source endless_tone(Hertz tone, Hertz rate) {
  audio::Source source;
  source.format = {rate, 2, std::nullopt, "tone", std::nullopt};
  const double step = tone / rate;
  source.read = [step, cycle = 0.0](std::span<double> interleaved) mutable {
    const std::size_t frames = interleaved.size() / 2;
    for (std::size_t i = 0; i < frames; ++i) {
      const double sample = std::sin(2.0 * std::numbers::pi * cycle);
      interleaved[2 * i] = sample;
      interleaved[2 * i + 1] = sample;
      cycle = std::fmod(cycle + step, 1.0);
    }
    return frames;
  };
  return source;
}

// Frames that a hand needs from one setting to the next, its pauses included.
std::size_t frames_to_turn(const rig::Rig& rig, const Settings& from, const Settings& to,
                           double travel_db) {
  constexpr double patience = 2.0;  // re the mean speed: at half of it, and the landing
  const double volume_db = rig.head_unit.step_size.value() * std::abs(to.volume - from.volume);
  const double gain_db = travel_db * std::abs(to.travel - from.travel);
  const double way = std::max(volume_db, gain_db);
  double seconds = patience * way / rig.hand->speed_db_per_s + settling.value();
  if (rig.hand->pause_every.value() > 0.0) {
    seconds += patience * way / rig.hand->pause_every.value() * rig.hand->pause.value();
  }
  return static_cast<std::size_t>(seconds * rig.sound_card.rate.value());
}

double range_db(const rig::Amplifier& amplifier) {
  return 20.0 * std::log10(amplifier.sensitivity_high / amplifier.sensitivity_low);
}

void State::build(Settings settings) {
  rig::Play play;
  play.point = point;
  play.volume = {{Seconds(0.0), settings.volume}};
  play.before = Seconds(0.0);
  if (has_gain()) control().travel = settings.travel;
  // A hand begins where the control was, once what is behind it has settled.
  if (rig.hand && recording.read) {
    play.volume = {{Seconds(0.0), built.volume}, {settling, settings.volume}};
    double travel_db = 0.0;
    if (has_gain()) {
      control().travel = built.travel;
      play.gain = {{settling, settings.travel}};
      travel_db = range_db(rig.amplifiers[point.amplifier]);
    }
    turning = frames_to_turn(rig, built, settings, travel_db);
  }
  recording = rig::record(rig, play, endless_tone(tone, rig.sound_card.rate));
  built = settings;
  auto left = static_cast<std::size_t>(settling.value() * recording.format.rate.value());
  while (left > 0) {
    settling_block.resize(std::min<std::size_t>(left, 1024) *
                          static_cast<std::size_t>(recording.format.channels));
    const std::size_t got = recording.read(settling_block);
    if (got == 0) break;
    left -= std::min(got, left);
  }
}

std::string names_of(const rig::Rig& rig) {
  std::string names;
  for (const auto& amplifier : rig.amplifiers) {
    for (const auto& control : amplifier.controls) names += control.name + ", ";
  }
  return names + std::string(head_unit_name);
}

rig::TapPoint find_point(const rig::Rig& rig, std::string_view wanted) {
  rig::TapPoint point;
  if (wanted == head_unit_name || rig.amplifiers.empty()) return point;
  point.at = rig::TapPoint::At::amplifier;
  for (point.amplifier = 0; point.amplifier < rig.amplifiers.size(); ++point.amplifier) {
    const auto& controls = rig.amplifiers[point.amplifier].controls;
    for (point.control = 0; point.control < controls.size(); ++point.control) {
      if (wanted.empty() || controls[point.control].name == wanted) return point;
    }
  }
  throw Error("the rig has no '" + std::string(wanted) + "'", "--point",
              "give one of: " + names_of(rig));
}

std::optional<Volts> target_of(State& state) {
  if (!state.has_gain()) return std::nullopt;
  const auto& amplifier = state.rig.amplifiers[state.point.amplifier];
  electric::Channel channel;
  channel.amplifier_power = amplifier.rated_power;
  channel.load = amplifier.rated_load;
  channel.speaker_power = state.control().speaker_power;
  return electric::target_for(channel).volts;
}

bool turn(State& state, Key key) {
  const std::lock_guard guard(state.lock);
  Settings& s = state.wanted;
  switch (key) {
    case KEY_UP:
      s.volume = std::min(s.volume + 1, state.rig.head_unit.steps);
      return true;
    case KEY_DOWN:
      s.volume = std::max(s.volume - 1, 0);
      return true;
    case KEY_LEFT:
      s.travel = std::max(s.travel - turn_of_gain, 0.0);
      return true;
    case KEY_RIGHT:
      s.travel = std::min(s.travel + turn_of_gain, 1.0);
      return true;
    default:
      return false;
  }
}

std::string text_of(State& state) {
  const std::lock_guard guard(state.lock);
  std::string text = "arrows: vol " + std::to_string(state.wanted.volume);
  if (state.has_gain()) text += ", gain " + format_fixed(Percent(100.0 * state.wanted.travel), 0);
  return text;
}

int start_volume(const rig::Rig& rig, const RehearsalSetup& setup) {
  const int volume = setup.volume.value_or(rig.head_unit.steps * 3 / 4);
  if (volume >= 0 && volume <= rig.head_unit.steps) return volume;
  throw Error("the head unit has no volume step " + std::to_string(volume), "--volume",
              "give 0 to " + std::to_string(rig.head_unit.steps));
}

audio::Source source_of(const std::shared_ptr<State>& state) {
  audio::Source source;
  source.format = state->recording.format;
  source.format.frames.reset();
  source.read = [state](std::span<double> interleaved) {
    Settings wanted;
    {
      const std::lock_guard guard(state->lock);
      wanted = state->wanted;
    }
    if (!(wanted == state->built) && state->turning == 0) state->build(wanted);
    const std::size_t frames = state->recording.read(interleaved);
    state->turning -= std::min(frames, state->turning);
    return frames;
  };
  return source;
}

}  // namespace

Rehearsal rehearse(rig::Rig rig, const RehearsalSetup& setup) {
  auto state = std::make_shared<State>();
  state->point = find_point(rig, setup.point);
  state->wanted.volume = start_volume(rig, setup);
  state->rig = std::move(rig);
  if (state->has_gain()) {
    state->wanted.travel = state->control().travel;
    state->tone = state->control().setup_tone;
  }
  if (setup.tone) state->tone = *setup.tone;
  state->build(state->wanted);

  Rehearsal rehearsal;
  rehearsal.source = source_of(state);
  rehearsal.knobs = {[state](Key key) { return turn(*state, key); },
                     [state] { return text_of(*state); }};
  rehearsal.name = state->rig.name + ", " +
                   (state->has_gain() ? state->control().name : std::string(head_unit_name));
  rehearsal.channel_names = state->has_gain()
                                ? rig::output_names(state->control())
                                : std::vector<std::string>{"front left", "front right"};
  rehearsal.volts_per_full_scale =
      state->rig.sound_card.full_scale * state->rig.tap.nominal_attenuation;
  rehearsal.target = target_of(*state);
  return rehearsal;
}

}  // namespace railtap::live
