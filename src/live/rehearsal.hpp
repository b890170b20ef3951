// SPDX-License-Identifier: MIT
// The virtual rig under a watch: a tone without end, and knobs that can be turned while it plays.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "audio/stream.hpp"
#include "live/watch.hpp"
#include "rig/description.hpp"
#include "units/quantity.hpp"

namespace railtap::live {

/// What is watched, and with which tone.
struct RehearsalSetup {
  std::string_view point;     ///< a gain control's name, or "head unit"; empty: the first control
  std::optional<int> volume;  ///< of the head unit at the start; none: three quarters of the way
  std::optional<Hertz> tone;  ///< none: the one with which that control is set
};

/// All that a watch of the rig needs.
struct Rehearsal {
  audio::Source source;             ///< never ends
  Knobs knobs;                      ///< arrows: up and down the volume, left and right the gain
  std::string name;                 ///< of rig and point
  Volts volts_per_full_scale{0.0};  ///< by the marks on the tap's resistors
  std::optional<Volts> target;      ///< of the control, by its amplifier's and speakers' ratings
};

/// \throws Error where the rig has no such point or volume step
[[nodiscard]] Rehearsal rehearse(rig::Rig rig, const RehearsalSetup& setup);

}  // namespace railtap::live
