// SPDX-License-Identifier: MIT
// The parts of the setup sheet, each a piece of HTML.
#pragma once

#include <string>
#include <vector>

#include "report/json_view.hpp"
#include "report/sheet/record_rows.hpp"

namespace railtap::report {

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
