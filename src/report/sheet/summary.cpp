// SPDX-License-Identifier: MIT
// The sheet's table of every channel, and the one that sets an earlier record beside it.
#include "report/markup.hpp"
#include "report/sheet/gauge.hpp"
#include "report/sheet/parts.hpp"
#include "report/words.hpp"

namespace railtap::report {
namespace {

std::string cell(const char* label, const std::string& content) {
  return std::string("<td data-label=\"") + label + "\"><span>" + content + "</span></td>";
}

std::string verdict_html(const JsonView& channel) {
  const std::string verdict = channel["verdict"].text();
  if (verdict.empty()) return "<span class=\"unknown\">not measured</span>";
  const char* kind = verdict == "clean" ? "good" : "bad";
  return std::string("<span class=\"verdict ") + kind + "\">" + isolated(shortened(verdict, 30)) +
         "</span>";
}

JsonView uncertainty_of(const RecordRow& row) {
  return row.reached_entry["calibration"]["uncertainty_percent"];
}

std::string reached_html(const RecordRow& row) {
  const JsonView level = row.reached["level_v"].known() || !row.reached["level_dbfs"].known()
                             ? row.reached["level_v"]
                             : row.reached["level_dbfs"];
  const bool in_volts = row.reached["level_v"].known() || !row.reached["level_dbfs"].known();
  std::string out = marked(in_volts ? volts(level) : dbfs(level));
  const JsonView uncertainty = uncertainty_of(row);
  if (in_volts && level.known() && uncertainty.known()) {
    out += " <span class=\"band-word\">\u00b1" + marked(percent(uncertainty)) + "</span>";
  }
  return out;
}

std::string clips_html(const RecordRow& row) {
  const JsonView flat = row.onset["onset"]["flat_top"];
  if (row.onset["verdict"].text() == "clean-throughout") return "does not, as far as measured";
  const JsonView thdn = row.onset["onset"]["thdn"];
  const JsonView at = flat.known() ? flat : thdn;
  return marked(at["level_v"].known() || !at["level_dbfs"].known() ? volts(at["level_v"])
                                                                   : dbfs(at["level_dbfs"]));
}

std::string to_go(const RecordRow& row) {
  if (row.source) return "none";
  const JsonView change = row.target["change_db"];
  return change.known() ? marked(signed_decibels(change))
                        : "<span class=\"unknown\">unknown</span>";
}

std::string row_html(const RecordRow& row, std::size_t index) {
  const std::string meter =
      gauge(row.target["target_v"], row.reached["level_v"], row.tolerance, uncertainty_of(row));
  const std::string link =
      "<a href=\"#row" + std::to_string(index) + "\">" + row_name_html(row) + "</a>";
  return "<tr><th scope=\"row\">" + link + "</th>" +
         cell("target", row.source ? "none" : marked(volts(row.target["target_v"]))) +
         cell("reached", reached_html(row)) + "<td class=\"gauge-cell\">" + meter + "</td>" +
         cell("to go", to_go(row)) + cell("THD+N", marked(percent(row.reached["thdn_percent"]))) +
         cell("clips at", clips_html(row)) + cell("hiss (A)", marked(volts(hiss_of(row)))) +
         cell("verdict", verdict_html(row.reached)) + "</tr>\n";
}

std::string pair(const char* label, const Shown& today, const Shown& earlier) {
  return cell(label, marked(today) + " <span class=\"was\">was " + marked(earlier) + "</span>");
}

JsonView onset_volts(const RecordRow& row) {
  return row.onset["onset"]["flat_top"]["level_v"];
}

std::string compared(const RecordRow& row, const RecordRow& earlier) {
  return "<tr><th scope=\"row\">" + row_name_html(row) + "</th>" +
         pair("target", volts(row.target["target_v"]), volts(earlier.target["target_v"])) +
         pair("reached", volts(row.reached["level_v"]), volts(earlier.reached["level_v"])) +
         pair("THD+N", percent(row.reached["thdn_percent"]),
              percent(earlier.reached["thdn_percent"])) +
         pair("clips at", volts(onset_volts(row)), volts(onset_volts(earlier))) +
         pair("hiss (A)", volts(hiss_of(row)), volts(hiss_of(earlier))) + "</tr>\n";
}

std::string heads(const std::vector<const char*>& names) {
  std::string out = "<thead><tr>";
  for (const char* name : names) out += std::string("<th scope=\"col\">") + name + "</th>";
  return out + "</tr></thead>\n<tbody>\n";
}

}  // namespace

std::string summary_part(const SheetContent& content) {
  std::string out = "<section>\n<h2>Every channel</h2>\n";
  if (content.rows.empty())
    return out + "<p class=\"unknown\">No channel was measured.</p>\n</section>\n";
  out +=
      "<table class=\"every\">\n" + heads({"channel", "target", "reached", "reached against target",
                                           "to go", "THD+N", "clips at", "hiss (A)", "verdict"});
  for (std::size_t i = 0; i < content.rows.size(); ++i) out += row_html(content.rows[i], i);
  return out +
         "</tbody>\n</table>\n<p class=\"small fixed\">The gauge reaches 1 dB to either side. Its "
         "upright stroke is the target, the shade the tolerance, the dot what was reached, the "
         "line "
         "through the dot its error band; an arrow lies further out.</p>\n</section>\n";
}

std::string comparison_part(const SheetContent& content) {
  if (!content.earlier.known()) return "";
  const VolumeLimit now = volume_limit(content.record), then = volume_limit(content.earlier);
  std::string out = "<section>\n<h2>Against the record begun " +
                    time_html(content.earlier["created"]) + "</h2>\n<p>Volume limit " +
                    marked(plain(now.step)) + " <span class=\"was\">was " +
                    marked(plain(then.step)) + "</span></p>\n<table class=\"every\">\n" +
                    heads({"channel", "target", "reached", "THD+N", "clips at", "hiss (A)"});
  for (const RecordRow& row : content.rows) {
    const RecordRow* earlier = same_row(content.earlier_rows, row);
    out += compared(row, earlier != nullptr ? *earlier : RecordRow{});
  }
  out += "</tbody>\n</table>\n";
  for (const RecordRow& row : content.earlier_rows) {
    if (same_row(content.rows, row) != nullptr) continue;
    out += "<p>" + row_name_html(row) + " is in the earlier record only.</p>\n";
  }
  return out + "</section>\n";
}

}  // namespace railtap::report
