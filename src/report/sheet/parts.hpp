// SPDX-License-Identifier: MIT
// The parts of the setup sheet, each a piece of HTML, and what of the record they are made of.
#pragma once

#include <string>
#include <vector>

#include "report/words.hpp"

namespace railtap::report {

/// One channel. Views are empty where the record has nothing of the kind.
struct RecordRow {
  std::string
      subject;  ///< the channel as the system names it, else as the entries do; may be empty
  std::string control;  ///< its gain control, where the system is described; may be empty
  bool source = false;  ///< the head unit's output, not an amplifier's
  bool alone = true;    ///< the subject has no other channel
  JsonView number;      ///< of the channel within its recording

  JsonView reached_entry, reached;    ///< analysis of a tone, after what was corrected
  JsonView found_entry, found;        ///< analysis of a tone, before
  JsonView onset_entry, onset;        ///< of railtap.onset/1
  JsonView quiet_entry, quiet;        ///< analysis with nothing playing
  JsonView target;                    ///< what has "target_v"
  JsonView tolerance;                 ///< in decibels, of the target
  JsonView verified_entry, verified;  ///< of railtap.verification/1, the last one
  JsonView verified_before;           ///< the one before a correction
  JsonView steady_tones;              ///< the latest of a verification, which may hold nothing else
  JsonView gain_percent;              ///< position of its gain control, percent of the travel
  std::vector<JsonView> noted;        ///< entries with a note about the subject, in order
};

/// All rows, head unit first, then in the order in which the record names them. Where the record's
/// system describes the channels of a gain control, entries about the control are about these.
[[nodiscard]] std::vector<RecordRow> rows_of(const JsonView& record);

/// What the measurements call the channel; empty where they name none.
[[nodiscard]] std::string own_name(const RecordRow& row);

/// The row of another record about the same channel, whether that is one of a gain control's in one
/// of them and a subject by itself in the other; null where there is none.
[[nodiscard]] const RecordRow* same_row(const std::vector<RecordRow>& rows, const RecordRow& row);

/// Whether the verification says that the channel carries another side than it should, is silent or
/// inverted; also of records that were written before a channel had a verdict.
[[nodiscard]] bool is_miswired(const JsonView& verified);

/// What a channel comes to.
struct RowState {
  std::string word;  ///< "good", the tone's verdict, "wiring", "off target", "check"
  bool good = false;
  std::vector<std::string> open;  ///< what is wrong or not known, a sentence each
};
[[nodiscard]] RowState state_of(const RecordRow& row);

/// Sentences of the faults that a verification found in a channel.
[[nodiscard]] std::vector<std::string> faults_of(const JsonView& verified);

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

/// Whether the record is of a rehearsal on a virtual car.
[[nodiscard]] bool is_rehearsal(const JsonView& record);

/// Whose the vehicle is, who did the work and when: from the latest entries of the kind "job", else
/// from the system's table "job". `key` is "vehicle", "owner", "installer" or "date"; may be empty.
[[nodiscard]] std::string job_detail(const JsonView& record, const std::string& key);

/// A row's name, with its channel where the subject has several.
[[nodiscard]] std::string row_name_html(const RecordRow& row);

/// Names of a record may have thousands of characters; labels have at most these.
inline constexpr std::size_t longest_label = 60;

/// Where a row's gain control is: percent of its travel, else the latest remark about a gain; empty
/// where neither is known.
[[nodiscard]] std::string gain_html(const RecordRow& row);

/// A-weighted hiss at a row's output, from a silent recording or from its verification.
[[nodiscard]] JsonView hiss_of(const RecordRow& row);

/// A time of the record, local; as text where it is none.
[[nodiscard]] std::string time_html(const JsonView& time);
/// The same without the hours.
[[nodiscard]] std::string day_html(const JsonView& time);
/// Of the last entry, else of the record's beginning.
[[nodiscard]] JsonView last_time(const JsonView& record);

/// "36 of 40, 8.34 V", in the box that is to be seen first.
[[nodiscard]] std::string volume_box(const JsonView& record);

/// A verdict, or several, of a channel in the colours of good and bad.
[[nodiscard]] std::string verdict_html(const RecordRow& row);

/// The sections, in the order of the page. Where the record has nothing for one, it says so; only
/// the comparison is empty then. \param index of the row, from 0, for the
/// section's id: "row0" \param earlier the same channel in the earlier record; may be null
[[nodiscard]] std::string owner_part(const SheetContent& content);
[[nodiscard]] std::string labels_part(const SheetContent& content);
/// Marks every page, and the virtual car's faults; both empty where the record is no rehearsal's.
[[nodiscard]] std::string rehearsal_mark(const SheetContent& content);
[[nodiscard]] std::string rehearsal_part(const SheetContent& content);
[[nodiscard]] std::string diagram_part(const SheetContent& content);
[[nodiscard]] std::string summary_part(const SheetContent& content);
[[nodiscard]] std::string comparison_part(const SheetContent& content);
[[nodiscard]] std::string channel_part(const RecordRow& row, std::size_t index,
                                       const RecordRow* earlier);
[[nodiscard]] std::string calibration_part(const SheetContent& content);
[[nodiscard]] std::string remarks_part(const SheetContent& content);
[[nodiscard]] std::string cautions_part();
[[nodiscard]] std::string repeat_part(const SheetContent& content);

/// The sheet's CSS.
[[nodiscard]] const std::string& sheet_style();

}  // namespace railtap::report
