// SPDX-License-Identifier: MIT
// What the rig does with a track: the volts between the terminals that are tapped, at a high rate.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "audio/stream.hpp"
#include "rig/description.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

/// The rig computes at this many times the sound card's rate. With the box filter of
/// output_stage.hpp, the aliases of a 1 kHz tone 3 dB over a hard rail stay below −130 dB re the
/// tone (measured in tests/rig).
inline constexpr int oversampling = 16;

/// A pair of terminals: of the head unit, or of the channels behind a gain control.
struct TapPoint {
  enum class At { head_unit_front, head_unit_rear, amplifier };
  At at = At::head_unit_front;
  std::size_t amplifier = 0;  ///< index into Rig::amplifiers
  std::size_t control = 0;    ///< index into its controls
};

/// A turn of the volume control.
struct VolumeChange {
  Seconds at{0.0};  ///< from the start of the track
  int step = 0;     ///< 0 … the highest
};

/// A turn of the gain control that is tapped.
struct GainChange {
  Seconds at{0.0};      ///< from the start of the track
  double travel = 0.0;  ///< 0 … 1
};

/// How a track is played and where it is tapped.
struct Play {
  TapPoint point;
  std::vector<VolumeChange> volume;  ///< in order of time; the first holds from the start
  std::vector<GainChange> gain;      ///< in order of time; until the first, as described
  bool speakers_connected = false;   ///< to all amplifiers
  Seconds before{0.25};              ///< of idling, before the track and after it
  Seconds after{0.25};
};

/// How many channels a point has: 2 for a head unit, 1 or 2 behind a control.
[[nodiscard]] int channel_count(const Rig& rig, const TapPoint& point);

/// Whether the terminals there are bridge-tied: neither of them is ground.
[[nodiscard]] bool bridge_tied(const Rig& rig, const TapPoint& point);

/// Volts at the tapped terminals, block by block at constant memory.
class Terminals {
 public:
  /// \param card_rate the high rate is this times `oversampling`
  /// \param clock_ppm how much faster the recorder's clock is than the track's
  /// \param skip      samples at the high rate to leave out at the start
  /// \throws Error where `play` names a step or a point that the rig does not have
  Terminals(const Rig& rig, const Play& play, audio::Source track, Hertz card_rate,
            double clock_ppm, int skip);
  Terminals(Terminals&&) noexcept;
  Terminals& operator=(Terminals&&) noexcept;
  ~Terminals();

  [[nodiscard]] Hertz rate() const;
  [[nodiscard]] int channels() const;

  /// Fills one block per channel, all of the same size: peak volts.
  /// \returns how many samples lie before the end; behind it the rig idles
  std::size_t read(std::vector<std::vector<double>>& blocks);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace railtap::rig
