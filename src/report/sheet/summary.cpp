// SPDX-License-Identifier: MIT
// The summary of the setup sheet and the state of each channel.

#include <algorithm>
#include <cmath>
#include <optional>

#include "electric/target.hpp"
#include "report/sheet/parts.hpp"
#include "report/svg/plot.hpp"
#include "report/words.hpp"

namespace railtap::report {

// What a channel comes to, and what of it is still open.

namespace {

/// The sentence that says most: the cause, where one was found, else the first reason.
std::string why(const JsonView& channel) {
  const std::string cause = channel["cause"]["sentence"].text();
  if (!cause.empty()) return cause;
  return channel["reasons"][0].text();
}

bool is_off_target(const RecordRow& row) {
  const auto change = row.target["change_db"].number();
  if (!change) return false;
  const double tolerance = row.tolerance.number().value_or(electric::default_tolerance.value());
  return std::abs(*change) > tolerance;
}

void take_tone(RowState& state, const RecordRow& row) {
  const std::string verdict = row.reached["verdict"].text();
  if (verdict.empty()) {
    state.word = "not measured";
    state.open.emplace_back("its level was not measured");
  } else if (verdict != "clean") {
    state.word = shortened(verdict, longest_label);
    const std::string reason = why(row.reached);
    state.open.push_back(reason.empty() ? state.word : reason);
  } else if (is_off_target(row)) {
    state.word = "off target";
    state.open.emplace_back("its level is not within the tolerance of the target");
  }
}

void take_target(RowState& state, const RecordRow& row) {
  if (!row.target["target_v"].known()) state.open.emplace_back("no target is on record");
}

void take_verification(RowState& state, const RecordRow& row) {
  if (!row.verified.known()) {
    state.open.emplace_back("channel and polarity were not verified");
    return;
  }
  const auto faults = faults_of(row.verified);
  state.open.insert(state.open.end(), faults.begin(), faults.end());
  const bool miswired = is_miswired(row.verified);
  if (!miswired && faults.empty()) return;
  const std::string word = miswired ? "wiring" : "check";
  state.word += (state.word.empty() ? "" : ", ") + word;
}

}  // namespace

bool is_miswired(const JsonView& verified) {
  if (verified["verdict"].text() == "wiring") return true;
  if (verified["polarity"]["verdict"].text() == "inverted") return true;
  const std::string carries = verified["identity"]["carries"].text();
  const std::string expected = verified["expected"].text();
  return carries == "silent" ||
         (!carries.empty() && carries != "cannot-tell" && !expected.empty() && carries != expected);
}

std::vector<std::string> faults_of(const JsonView& verified) {
  std::vector<std::string> faults;
  for (const JsonView& finding : verified["findings"].elements()) {
    if (finding["severity"].text() == "fault") faults.push_back(finding["text"].text());
  }
  return faults;
}

RowState state_of(const RecordRow& row) {
  RowState state;
  take_tone(state, row);
  take_target(state, row);
  take_verification(state, row);
  state.good = state.word.empty();
  if (state.good) state.word = "good";
  return state;
}

std::string gain_html(const RecordRow& row) {
  if (row.gain_percent.known()) return marked(travel(row.gain_percent));
  constexpr std::size_t longest_remark = 40;
  std::string found;
  for (const JsonView& entry : row.noted) {
    const std::string note = entry["note"].text();
    if (note.find("gain") != std::string::npos || note.find("Gain") != std::string::npos)
      found = isolated(shortened(note, longest_remark));
  }
  return found;
}

std::string verdict_html(const RecordRow& row) {
  const std::string verdict = row.reached["verdict"].text();
  const auto word = [](const std::string& text, bool good) {
    return "<span class=\"verdict " + std::string(good ? "good" : "bad") + "\">" +
           isolated(shortened(text, 30)) + "</span>";
  };
  std::string out;
  if (is_miswired(row.verified)) out = word("wiring", false);
  if (verdict.empty()) {
    return out.empty() ? "<span class=\"unknown\">not measured</span>" : out;
  }
  if (!out.empty() && verdict == "clean") return out;
  return (out.empty() ? "" : out + " ") + word(verdict, verdict == "clean");
}

// The sheet's table of every channel with its gauge, and the one that sets an earlier record beside
// it.

// --- gauge ---------------------------------------------------------------------------------------

namespace {

// How far the gauge reaches to either side of the target.
constexpr double gauge_reach_db = 1.0;
constexpr double width = 160, height = 26, edge = 8, middle = height / 2;

double place(Decibels change) {
  const double share =
      (std::clamp(change.value(), -gauge_reach_db, gauge_reach_db) / gauge_reach_db + 1.0) / 2.0;
  return edge + share * (width - 2.0 * edge);
}

std::string at(const char* key, double value) {
  return std::string(" ") + key + "=\"" + svg::coordinate(value) + "\"";
}

std::string line(const char* kind, double x1, double y1, double x2, double y2) {
  return std::string("<line class=\"") + kind + "\"" + at("x1", x1) + at("y1", y1) + at("x2", x2) +
         at("y2", y2) + "/>";
}

/// The dot; where the gauge does not reach, an arrow at its end.
std::string pointer(Decibels change) {
  const double x = place(change);
  if (std::abs(change.value()) <= gauge_reach_db) {
    return "<circle class=\"dot one\"" + at("cx", x) + at("cy", middle) + at("r", 4.5) + "/>";
  }
  const double side = change.value() > 0.0 ? 1.0 : -1.0;
  return "<path class=\"dot two\" d=\"M" + svg::coordinate(x + side * 7) + " " +
         svg::coordinate(middle) + "l" + svg::coordinate(-side * 10) + " -6v12z\"/>";
}

std::string title_of(const JsonView& target_v, const JsonView& reached_v) {
  return "<title>Target " + escaped(volts(target_v).shown) + ", reached " +
         escaped(volts(reached_v).shown) + "</title>";
}

std::string tolerance_band(Decibels tolerance) {
  const double low = place(-tolerance), high = place(tolerance);
  return "<rect class=\"band\"" + at("x", low) + at("y", 3) + at("width", high - low) +
         at("height", height - 6) + "/>";
}

std::string whiskers(Decibels from, Decibels to) {
  const double low = place(from), high = place(to);
  return line("whisker", low, middle, high, middle) +
         line("whisker", low, middle - 4, low, middle + 4) +
         line("whisker", high, middle - 4, high, middle + 4);
}

/// A mark at the target, the tolerance around it, a dot at what was reached and its error band.
/// Empty where either is not known.
std::string gauge(const JsonView& target_v, const JsonView& reached_v, const JsonView& tolerance_db,
                  const JsonView& uncertainty_percent) {
  const auto target = target_v.number(), reached = reached_v.number();
  if (!target || !reached || *target <= 0.0 || *reached <= 0.0) return "";
  const auto percent = uncertainty_percent.number();
  const electric::Deviation found = electric::deviation(
      Volts(*target), Volts(*reached), percent ? std::optional(Percent(*percent)) : std::nullopt);
  std::string out =
      "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"gauge\" viewBox=\"0 0 160 26\" "
      "role=\"img\">" +
      title_of(target_v, reached_v);
  if (const auto tolerance = tolerance_db.number()) out += tolerance_band(Decibels(*tolerance));
  out += line("axis", edge, middle, width - edge, middle) +
         line("target", place(Decibels(0.0)), 1, place(Decibels(0.0)), 25);
  if (found.low && found.high) out += whiskers(*found.low, *found.high);
  return out + pointer(found.change) + "</svg>";
}

}  // namespace

// --- tables --------------------------------------------------------------------------------------

namespace {

std::string cell(const char* label, const std::string& content) {
  return std::string("<td data-label=\"") + label + "\"><span>" + content + "</span></td>";
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
         cell("verdict", verdict_html(row)) + "</tr>\n";
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
  std::string out = "<section>\n<h2>Every channel in figures</h2>\n";
  if (content.rows.empty())
    return out + "<p class=\"unknown\">No channel was measured.</p>\n</section>\n";
  out +=
      "<table class=\"every\">\n" + heads({"channel", "target", "reached", "reached against target",
                                           "to go", "THD+N", "clips at", "hiss (A)", "verdict"});
  for (std::size_t i = 0; i < content.rows.size(); ++i) out += row_html(content.rows[i], i);
  return out +
         "</tbody>\n</table>\n<p class=\"small fixed\">The gauge reaches 1 dB to either side. The "
         "vertical line is the target, the shade the tolerance, the dot what was reached, the "
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
