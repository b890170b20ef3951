// SPDX-License-Identifier: MIT
// What the rig's own settings amount to: for the rig itself, and for tests to compare findings
// with.
#pragma once

#include <optional>

#include "rig/description.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

/// Peak at which the head unit's outputs clip: the supply minus the drop.
[[nodiscard]] Volts head_unit_rail(const Rig& rig);

/// Volume step as a factor of the highest step's; 0 at step 0.
[[nodiscard]] double volume_gain(const HeadUnit& unit, int step);

/// Peak rail of an amplifier at the rig's supply, without a load.
[[nodiscard]] Volts amplifier_rail(const Rig& rig, const Amplifier& amplifier);

/// An amplifier's own sag and what the feed adds while all its channels play into their speakers:
/// each ampere of load current draws rail/(supply·efficiency) from the supply, and each volt lost
/// there takes rail/supply from the rail (derived). The draw of other amplifiers is not modelled.
[[nodiscard]] Ohms sag_resistance(const Rig& rig, const Amplifier& amplifier);

/// Volts out per volt in, at the control's position. Rated output over the sensitivity there, which
/// goes evenly in decibels from one end to the other.
[[nodiscard]] double gain(const Amplifier& amplifier, const Control& control);

/// RMS of the sine at the terminals whose peak just touches the nearer rail (or where its knee
/// begins), with a load or without.
[[nodiscard]] Volts clip_onset(const Rig& rig, const Amplifier& amplifier,
                               std::optional<Ohms> load);

/// The same for the head unit, which drives no load.
[[nodiscard]] Volts head_unit_clip_onset(const Rig& rig);

/// The highest step at which a sine of this level stays off the head unit's rail; tone controls
/// flat.
[[nodiscard]] int highest_clean_step(const Rig& rig, Dbfs level);

/// Peak volts at the terminals that reach the sound card's full scale, in the middle of the band.
[[nodiscard]] Volts volts_per_full_scale(const Rig& rig);

}  // namespace railtap::rig
