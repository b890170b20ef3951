// SPDX-License-Identifier: MIT
// The guided walk's judgement of each recording, of levels and of wiring: what goes into the
// record, or what to mend.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "command/walk_state.hpp"
#include "system/job_record.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

// The guided walk's judgement of each recording: what goes into the record, or what to mend.

/// A recording that is right: what to write down of it, and what to tell.
struct Accepted {
  std::vector<system::RecordEntry> entries;
  std::string words;     ///< a sentence or two
  system::Json details;  ///< for the mark, see mark_step
  std::string doubt;     ///< why the person should look again before it is taken; mostly empty
};

/// Volumes of a recorded turn of the head unit's control.
struct VolumeRun {
  int first = 0, last = 0;
};

// Each throws Error, saying what is wrong and what to do, for a recording that will not do.

/// Ties volts to the recording. \param reading of the meter, as it was typed: "3.52V"
[[nodiscard]] Accepted check_calibration(const std::filesystem::path& file,
                                         const std::string& reading, const WalkFacts& facts);
/// Finds the highest volume at which every channel of the head unit is clean.
/// \param volts_per_full_scale none: levels stay without volts
[[nodiscard]] Accepted check_source(const std::filesystem::path& file, const VolumeRun& run,
                                    const WalkFacts& facts,
                                    std::optional<Volts> volts_per_full_scale);
/// Accepts a gain where every channel that is not silent holds the right tone, clean and within
/// `tolerance` of its target.
[[nodiscard]] Accepted check_gain(const std::filesystem::path& file, const WalkChannel& channel,
                                  Decibels tolerance, Volts volts_per_full_scale);
/// Accepts silence in every channel, and tells its hiss.
[[nodiscard]] Accepted check_silence(const std::filesystem::path& file, const WalkChannel& channel,
                                     std::optional<Volts> volts_per_full_scale);

/// The lower of what the ratings allow and what the description leaves.
[[nodiscard]] electric::Target target_of(const WalkChannel& channel);

/// "front (front left, front right)"; the control alone where the outputs have no names.
[[nodiscard]] std::string names_of(const WalkChannel& channel);

/// What a recorded channel is called: by the output in the same place, else "channel 2".
/// \param channel  from 1
/// \param outputs  names of what was recorded, in order; may be empty
[[nodiscard]] std::string channel_name(const std::vector<std::string>& outputs, int channel);

/// " Not in this recording: front right." where it has fewer channels than the control has outputs
/// with names; else empty.
[[nodiscard]] std::string not_recorded(const WalkChannel& channel, std::size_t recorded);

/// "s front left and front right", the head unit's first two outputs, to go behind "output"; empty
/// where they have no names.
[[nodiscard]] std::string source_names(const WalkFacts& facts);

// The guided walk's judgement of wiring and filters, from the verification tracks.

/// Accepts a recording of the verification track without faults: every output carries its side,
/// plus is plus, no filter or boost is on, nothing hums. What could not be decided is told.
/// \throws Error with the faults
[[nodiscard]] Accepted check_wiring(const std::filesystem::path& file, const WalkChannel& channel,
                                    std::optional<Volts> volts_per_full_scale);

}  // namespace railtap::command
