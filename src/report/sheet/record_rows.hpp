// SPDX-License-Identifier: MIT
// Which of a record's entries say what about each channel: the latest of every kind.
#pragma once

#include <string>
#include <vector>

#include "report/json_view.hpp"

namespace railtap::report {

/// One channel of one recording. Views are empty where the record has nothing of the kind.
struct RecordRow {
  std::string subject;  ///< as the entries name it; may be empty
  bool source = false;  ///< the head unit's output, not an amplifier's
  bool alone = true;    ///< the subject has no other channel
  JsonView number;      ///< of the channel within its recording

  JsonView reached_entry, reached;    ///< analysis of a tone, after what was corrected
  JsonView found_entry, found;        ///< analysis of a tone, before
  JsonView onset_entry, onset;        ///< of railtap.onset/1
  JsonView quiet_entry, quiet;        ///< analysis with nothing playing
  JsonView target;                    ///< what has "target_v"
  JsonView tolerance;                 ///< in decibels, of the target
  JsonView verified_entry, verified;  ///< of railtap.verification/1
  JsonView steady_tones;              ///< the latest of a verification, which may hold nothing else
  std::vector<JsonView> noted;        ///< entries with a note about the subject, in order
};

/// All rows, head unit first, then in the order in which the record names them.
[[nodiscard]] std::vector<RecordRow> rows_of(const JsonView& record);

/// The row of another record about the same channel; null where there is none.
[[nodiscard]] const RecordRow* same_row(const std::vector<RecordRow>& rows, const RecordRow& row);

/// The latest entry of a kind; an empty view where there is none.
[[nodiscard]] JsonView latest(const JsonView& record, const std::string& kind);

/// The highest clean volume step and the number of steps, where a document has them; of a rising
/// level at the head unit only the volts at its highest clean step are known.
struct VolumeLimit {
  JsonView step, steps, level_v;
};
[[nodiscard]] VolumeLimit volume_limit(const JsonView& record);

}  // namespace railtap::report
