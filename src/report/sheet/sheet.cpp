// SPDX-License-Identifier: MIT
// Putting the setup sheet together: the owner's page, labels, then the evidence in the order of
// work.
#include "report/sheet/sheet.hpp"

#include "report/markup.hpp"
#include "report/sheet/parts.hpp"
#include "report/svg/plot.hpp"

namespace railtap::report {

// --- page ----------------------------------------------------------------------------------------

namespace {

constexpr std::size_t longest_page_title = 80;

std::string opening(const SheetContent& content) {
  const std::string name = content.record["name"].text();
  const std::string title = name.empty() ? "Setup sheet" : "Setup sheet: " + name;
  return "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>" +
         escaped(shortened(title, longest_page_title)) + "</title>\n<style>" + svg::style() +
         sheet_style() + "</style>\n</head>\n<body>\n" + rehearsal_mark(content);
}

}  // namespace

std::string sheet_html(const system::Json& record, const system::Json& earlier) {
  SheetContent content{JsonView(record), JsonView(earlier, "#earlier"), {}, {}};
  content.rows = rows_of(content.record);
  content.earlier_rows = rows_of(content.earlier);
  std::string html = opening(content) + "<main>\n" + owner_part(content) + labels_part(content) +
                     rehearsal_part(content) + diagram_part(content) + calibration_part(content) +
                     summary_part(content) + comparison_part(content);
  for (std::size_t i = 0; i < content.rows.size(); ++i)
    html += channel_part(content.rows[i], i, same_row(content.earlier_rows, content.rows[i]));
  return html + remarks_part(content) + cautions_part() + repeat_part(content) +
         "</main>\n</body>\n</html>\n";
}

}  // namespace railtap::report
