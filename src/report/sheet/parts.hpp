// SPDX-License-Identifier: MIT
// The parts of the setup sheet, each a piece of HTML, and what of the record they are made of.
#pragma once

#include <string>
#include <vector>

#include "report/words.hpp"

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

/// What the parts are made of.
struct SheetContent {
  JsonView record, earlier;  ///< `earlier` is empty where nothing is compared
  std::vector<RecordRow> rows, earlier_rows;
};

/// A row's name, with its channel where the subject has several.
[[nodiscard]] std::string row_name_html(const RecordRow& row);
[[nodiscard]] std::string row_name_text(const RecordRow& row);

/// Names of a record may have thousands of characters; labels have at most these.
inline constexpr std::size_t longest_label = 60;

/// A-weighted hiss at a row's output, from a silent recording or from its verification.
[[nodiscard]] JsonView hiss_of(const RecordRow& row);

/// A time of the record; as text where it is none.
[[nodiscard]] std::string time_html(const JsonView& time);

/// The sections, in the order of the page. Where the record has nothing for one, it says so; only
/// the comparison is empty then. \param index of the row, from 0, for the
/// section's id: "row0"
[[nodiscard]] std::string head_part(const SheetContent& content);
[[nodiscard]] std::string rehearsal_part(const SheetContent& content);
[[nodiscard]] std::string diagram_part(const SheetContent& content);
[[nodiscard]] std::string summary_part(const SheetContent& content);
[[nodiscard]] std::string comparison_part(const SheetContent& content);
[[nodiscard]] std::string channel_part(const RecordRow& row, std::size_t index);
[[nodiscard]] std::string calibration_part(const SheetContent& content);
[[nodiscard]] std::string remarks_part(const SheetContent& content);
[[nodiscard]] std::string cautions_part();
[[nodiscard]] std::string repeat_part(const SheetContent& content);

/// The sheet's CSS.
[[nodiscard]] const std::string& sheet_style();

}  // namespace railtap::report
