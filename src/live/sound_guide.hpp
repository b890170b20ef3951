// SPDX-License-Identifier: MIT
// Sounds that are played: a track once, and the way to the target, for when the screen is out of
// sight.
#pragma once

#include <atomic>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "audio/output.hpp"
#include "live/watch_view.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

// A track played once on a sound output.

/// Renders the track's left channel, then plays it on the output's channels, once, after `lead` of
/// silence: a sound server may take a second until an input that was opened delivers.
class Playback {
 public:
  static constexpr Seconds lead{2.0};

  /// \param device part of an output's name; empty: the system's default
  /// \throws Error as OutputStream does, and where the track can't be rendered
  Playback(const signal::Track& track, const std::string& device, Hertz rate);

  /// Stops what is still playing.
  ~Playback() = default;
  Playback(const Playback&) = delete;
  Playback& operator=(const Playback&) = delete;

  [[nodiscard]] Seconds length() const;  ///< with the lead
  [[nodiscard]] const std::string& device() const { return output_.device(); }

  /// Whether the driver had all of it in time, as far as it reports.
  [[nodiscard]] bool whole() const { return output_.underflows() == 0; }

 private:
  static void render(void* self, std::span<float> samples) noexcept;

  Hertz rate_;
  std::vector<float> samples_;
  std::size_t position_ = 0;  // of the driver's thread
  audio::OutputStream output_;
};

// The way to the target as a sound, for when the screen is out of sight.

/// What is to be heard.
enum class GuideSound {
  none,
  below,      ///< single beeps whose pitch climbs towards the target's
  on_target,  ///< the target's pitch, held
  above,      ///< pairs of beeps above that pitch
  flat_tops,  ///< a rattle far below: stop
};

/// A sound, and its pitch: that of the beeps, the held tone or the rattle; 0 without a sound.
struct GuideTone {
  GuideSound sound = GuideSound::none;
  Hertz pitch{0.0};
  bool operator==(const GuideTone&) const = default;
};

/// The pitch of the target: an A, well within what a laptop's speaker gives.
inline constexpr Hertz target_pitch{880.0};
/// An octave is so much; a quarter of a decibel is then half a semitone.
inline constexpr Decibels octave{6.0};

/// What a reading sounds like: flat tops and an overloaded input first, else the way to the target.
[[nodiscard]] GuideTone guide_tone(const ChannelReading& reading,
                                   const std::optional<WatchTarget>& target);

/// Renders guide tones without clicks. `set` and `render` may be called from two threads.
class GuideVoice {
 public:
  explicit GuideVoice(Hertz rate);
  void set(const GuideTone& tone);
  void render(std::span<float> samples) noexcept;

 private:
  double rate_;
  std::atomic<int> sound_{0};
  std::atomic<float> pitch_{0.0F};
  // Of the rendering thread:
  double cycle_ = 0.0;
  double time_s_ = 0.0;
  double loudness_ = 0.0;
};

/// The voice on an output of the computer.
class SoundGuide {
 public:
  /// \throws Error as OutputStream does
  explicit SoundGuide(const audio::OutputRequest& request);
  void set(const GuideTone& tone) { voice_.set(tone); }

 private:
  GuideVoice voice_;
  audio::OutputStream output_;
};

}  // namespace railtap::live
