// SPDX-License-Identifier: MIT
// Sounds that are played: a track once, and the way to the target, for when the screen is out of
// sight.
#include "live/sound_guide.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "signal/generator.hpp"

namespace railtap::live {

// A track played once on a sound output.

namespace {

// Its delay does not matter, and a busy computer must not interrupt it.
constexpr Seconds in_hand{1.0};

std::vector<float> rendered(const signal::Track& track, Hertz rate) {
  signal::Generator generator(track, rate, signal::highest_float_peak);
  std::vector<float> samples(static_cast<std::size_t>(Playback::lead.value() * rate.value()), 0.0F);
  samples.reserve(samples.size() + static_cast<std::size_t>(generator.frames()));
  std::array<double, 4096> stereo{};
  while (const std::size_t frames = generator.render(stereo)) {
    for (std::size_t i = 0; i < frames; ++i) samples.push_back(static_cast<float>(stereo[2 * i]));
  }
  return samples;
}

}  // namespace

Playback::Playback(const signal::Track& track, const std::string& device, Hertz rate)
    : rate_(rate),
      samples_(rendered(track, rate)),
      output_({device, "", rate, in_hand}, {&Playback::render, this}) {}

Seconds Playback::length() const {
  return Seconds(static_cast<double>(samples_.size()) / rate_.value());
}

// Runs in the driver's thread, against a deadline.
void Playback::render(void* self, std::span<float> samples) noexcept {
  auto& playback = *static_cast<Playback*>(self);
  const auto left = std::span(playback.samples_).subspan(playback.position_);
  const std::size_t now = std::min(left.size(), samples.size());
  std::copy_n(left.begin(), now, samples.begin());
  std::fill(samples.begin() + static_cast<std::ptrdiff_t>(now), samples.end(), 0.0F);
  playback.position_ += now;
}

// Readings as sounds.

namespace {

constexpr double lowest_pitch_hz = 110.0;  // what a laptop's speaker still gives
constexpr double highest_pitch_hz = 3520.0;
constexpr double rattle_hz = 147.0;  // no octave of the target's pitch
constexpr double rattle_rate_hz = 14.0;
constexpr double beep_s = 0.08;
constexpr double beep_every_s = 0.4;
constexpr double pair_gap_s = 0.14;
constexpr double peak = 0.25;
constexpr double edge_s = 0.003;  // time constant of starts and stops

// Whether the sound is on, at a time since it began to repeat.
bool sounding(GuideSound sound, double time_s) {
  const double in_beat = std::fmod(time_s, beep_every_s);
  switch (sound) {
    case GuideSound::none:
      return false;
    case GuideSound::below:
      return in_beat < beep_s;
    case GuideSound::on_target:
      return true;
    case GuideSound::above:
      return in_beat < beep_s || (in_beat >= pair_gap_s && in_beat < pair_gap_s + beep_s);
    case GuideSound::flat_tops:
      return std::fmod(time_s * rattle_rate_hz, 1.0) < 0.5;
  }
  return false;
}

// A sine; for the rattle, with harmonics that make it rough.
double wave(GuideSound sound, double cycle) {
  const double angle = 2.0 * std::numbers::pi * cycle;
  if (sound != GuideSound::flat_tops) return std::sin(angle);
  return 0.6 * (std::sin(angle) + std::sin(3.0 * angle) / 3.0 + std::sin(5.0 * angle) / 5.0 +
                std::sin(7.0 * angle) / 7.0);
}

void render_voice(void* voice, std::span<float> samples) noexcept {
  static_cast<GuideVoice*>(voice)->render(samples);
}

}  // namespace

GuideTone guide_tone(const ChannelReading& reading, const std::optional<WatchTarget>& target) {
  if (reading.findings) {
    const bool flat = reading.findings->flat_top.present ||
                      reading.findings->verdict == judge::Verdict::input_overload;
    if (flat) return {GuideSound::flat_tops, Hertz(rattle_hz)};
    if (reading.findings->verdict == judge::Verdict::no_signal) return {};
  }
  const auto way = to_go(reading, target);
  if (!way) return {};
  const double octaves = -(way->change / octave);
  const double pitch = target_pitch.value() * std::exp2(octaves);
  const Hertz heard(std::clamp(pitch, lowest_pitch_hz, highest_pitch_hz));
  switch (way->direction) {
    case electric::Direction::raise:
      return {GuideSound::below, heard};
    case electric::Direction::lower:
      return {GuideSound::above, heard};
    case electric::Direction::hold:
      return {GuideSound::on_target, target_pitch};
  }
  return {};
}

GuideVoice::GuideVoice(Hertz rate) : rate_(rate.value()) {}

void GuideVoice::set(const GuideTone& tone) {
  pitch_.store(static_cast<float>(tone.pitch.value()), std::memory_order_relaxed);
  sound_.store(static_cast<int>(tone.sound), std::memory_order_relaxed);
}

void GuideVoice::render(std::span<float> samples) noexcept {
  const auto sound = static_cast<GuideSound>(sound_.load(std::memory_order_relaxed));
  const double step = static_cast<double>(pitch_.load(std::memory_order_relaxed)) / rate_;
  const double approach = 1.0 / (edge_s * rate_);
  for (float& sample : samples) {
    time_s_ += 1.0 / rate_;
    cycle_ = std::fmod(cycle_ + step, 1.0);
    const double wanted = sounding(sound, time_s_) ? peak : 0.0;
    loudness_ += (wanted - loudness_) * approach;
    sample = static_cast<float>(loudness_ * wave(sound, cycle_));
  }
}

SoundGuide::SoundGuide(const audio::OutputRequest& request)
    : voice_(request.rate), output_(request, {render_voice, &voice_}) {}

}  // namespace railtap::live
