// SPDX-License-Identifier: MIT
// A track played once on a sound output.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "audio/output.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

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

}  // namespace railtap::live
