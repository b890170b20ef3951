// SPDX-License-Identifier: MIT
// Putting the setup sheet together.
#include "report/sheet/sheet.hpp"

#include <nlohmann/json.hpp>

#include "report/markup.hpp"
#include "report/sheet/parts.hpp"
#include "report/svg/plot.hpp"

namespace railtap::report {
namespace {

constexpr std::size_t longest_page_title = 80;

std::string opening(const SheetContent& content) {
  const std::string name = content.record["name"].text();
  const std::string title = name.empty() ? "Setup sheet" : "Setup sheet: " + name;
  return "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>" +
         escaped(shortened(title, longest_page_title)) + "</title>\n<style>" + svg::style() +
         sheet_style() + "</style>\n</head>\n<body>\n";
}

}  // namespace

std::string sheet_html(const std::string& record_json, const std::string& earlier_json) {
  const nlohmann::json record = nlohmann::json::parse(record_json);
  const nlohmann::json earlier =
      earlier_json.empty() ? nlohmann::json() : nlohmann::json::parse(earlier_json);
  SheetContent content{JsonView(record), JsonView(earlier, "#earlier"), {}, {}};
  content.rows = rows_of(content.record);
  content.earlier_rows = rows_of(content.earlier);
  std::string html = opening(content) + head_part(content) + "<main>\n" + diagram_part(content) +
                     summary_part(content) + comparison_part(content);
  for (std::size_t i = 0; i < content.rows.size(); ++i) html += channel_part(content.rows[i], i);
  return html + calibration_part(content) + remarks_part(content) + cautions_part() +
         repeat_part(content) + "</main>\n</body>\n</html>\n";
}

}  // namespace railtap::report
