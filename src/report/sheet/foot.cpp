// SPDX-License-Identifier: MIT
// The last parts of the setup sheet: labels to cut out, what a rehearsal found, command lines.

#include <algorithm>
#include <set>

#include "report/sheet/parts.hpp"
#include "report/tone_kit.hpp"
#include "report/words.hpp"
#include "units/print.hpp"
#include "units/quantity.hpp"

namespace railtap::report {

// The end of the setup sheet: calibration, remarks, cautions, and how to measure again.

namespace {

constexpr std::size_t longest_command_word = 200;

std::string command_word(const std::string& text) {
  return shell_word(shortened(text, longest_command_word));
}

std::string option(const char* name, const std::string& value) {
  return value.empty() ? std::string() : std::string(" ") + name + " " + command_word(value);
}

template <class Q>
std::string option(const char* name, const JsonView& value) {
  const auto number = value.number();
  return number ? option(name, format_quantity(Q(*number))) : std::string();
}

/// Whether an entry still has all channels of its files: the demo's have one each.
bool has_all_channels(const JsonView& result) {
  double recorded = 0.0;
  for (const JsonView& file : result["files"].elements()) {
    recorded += file["channels"].number().value_or(0.0);
  }
  return static_cast<double>(result["channels"].size()) == recorded;
}

/// A text of each channel, separated by commas: what it was to carry, or its name. Empty where one
/// of them is not known.
std::string channel_words(const JsonView& result, const char* key) {
  if (!has_all_channels(result)) return "";
  std::string words;
  for (const JsonView& channel : result["channels"].elements()) {
    const std::string one = channel[key].text();
    if (one.empty() || one.find(',') != std::string::npos) return "";
    words += (words.empty() ? "" : ",") + one;
  }
  return words;
}

/// The options of `verify` that its document keeps. Limits stand there even where they are today's
/// usual ones: the sheet may be read when others are usual.
std::string verify_options(const JsonView& result) {
  const JsonView limits = result["limits"];
  return option("--names", channel_words(result, "name")) +
         option<Decibels>("--match", limits["match_db"]) +
         option<Decibels>("--crosstalk", limits["crosstalk_db"]) +
         option<Decibels>("--quiet", limits["quiet_cabin_dba"]) +
         option("--interface", result["interface"].text()) +
         option("--expect", channel_words(result, "expected")) +
         (result["limits"]["filters_allowed"].flag().value_or(false) ? " --allow-filters" : "") +
         option<Decibels>("--sensitivity", result["speaker_sensitivity_db"]) +
         option<Percent>("--gain-position", result["gain_position_percent"]);
}

/// The command and the recordings that gave an entry. The program's plain name, however it was
/// called when the sheet was made: the sheet outlives that folder. Empty for what was not measured
/// from files.
std::string measuring_command(const JsonView& entry) {
  const std::string kind = entry["kind"].text();
  const JsonView result = entry["result"];
  const std::string file = result["file"]["name"].text();
  if (kind == "onset" && !file.empty()) return "railtap onset " + command_word(file);
  if (kind == "analysis" && !file.empty()) return "railtap analyze " + command_word(file);
  if (kind != "verification") return "";
  std::string files;
  for (const JsonView& one : result["files"].elements()) {
    if (!one["name"].text().empty()) files += " " + command_word(one["name"].text());
  }
  return files.empty() ? "" : "railtap verify" + files + verify_options(result);
}

/// The whole command line; empty for what was not measured from files.
std::string command_of(const JsonView& entry) {
  std::string command = measuring_command(entry);
  if (command.empty()) return "";
  command += option("--calibration", entry["calibration"]["file"].text()) + " --record job.json";
  for (const char* key : {"subject", "stage", "moment"}) {
    command += option((std::string("--") + key).c_str(), entry[key].text());
  }
  return command;
}

std::string term(const char* name, const std::string& value) {
  return std::string("<dt>") + name + "</dt><dd>" + value + "</dd>\n";
}

/// The last calibration that any entry rests on.
JsonView calibration_in(const JsonView& record) {
  JsonView found;
  for (const JsonView& entry : record["entries"].elements()) {
    if (entry["kind"].text() == "calibration" && entry["result"].known()) found = entry["result"];
    if (entry["calibration"]["volts_per_full_scale"].known()) found = entry["calibration"];
  }
  return found;
}

}  // namespace

std::string calibration_part(const SheetContent& content) {
  const JsonView calibration = calibration_in(content.record);
  std::string out = "<section>\n<h2>Calibration</h2>\n";
  if (!calibration.known()) {
    return out +
           "<p class=\"unknown\">No calibration: levels are those of the "
           "recording.</p>\n</section>\n";
  }
  out += "<dl class=\"wide\">\n" +
         term("full scale of the recording",
              marked(volts(calibration["volts_per_full_scale"])) + " peak") +
         term("uncertainty", marked(percent(calibration["uncertainty_percent"]))) +
         term("meter's reading", marked(volts(calibration["reading_v"])));
  for (const char* key : {"meter", "device", "divider", "date", "file"}) {
    const std::string text = calibration[key].text();
    if (!text.empty()) out += term(key, isolated(shortened(text, longest_command_word)));
  }
  return out +
         "</dl>\n<p class=\"small fixed\">It holds for one tap, one sound input and one setting of "
         "that "
         "input. THD+N is all but the fundamental over the whole signal; dBFS is RMS against "
         "a full-scale sine.</p>\n</section>\n";
}

std::string remarks_part(const SheetContent& content) {
  std::string items;
  for (const JsonView& entry : content.record["entries"].elements()) {
    if (entry["kind"].text() == "job") continue;
    const std::string note = entry["note"].text();
    if (note.empty() || !entry["subject"].text().empty()) continue;
    items += "<li>" + isolated(note) + " <span class=\"small\">" + time_html(entry["time"]) +
             "</span></li>\n";
  }
  if (items.empty()) return "";
  return "<section>\n<h2>Remarks on the whole</h2>\n<ul>\n" + items + "</ul>\n</section>\n";
}

std::string cautions_part() {
  std::string out =
      "<section class=\"stop fixed\">\n<h2>Before anything is measured again</h2>\n<ul>\n";
  for (const std::string& caution : tone_cautions()) out += "<li>" + escaped(caution) + "</li>\n";
  return out +
         "<li>Local codes, and those licensed to do the work, come "
         "first.</li>\n</ul>\n</section>\n";
}

/// A command line as HTML in which no option is broken at its hyphens where a line ends.
std::string command_html(const std::string& command) {
  const std::string text = escaped(command);
  std::string html;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    const std::string word = text.substr(at, end - at);
    html += word.starts_with("--") ? "<span>" + word + "</span>" : word;
    if (end < text.size()) html += ' ';
    at = end + 1;
  }
  return html;
}

std::string repeat_part(const SheetContent& content) {
  std::string commands;
  std::set<std::string> seen;
  for (const JsonView& entry : content.record["entries"].elements()) {
    const std::string command = command_of(entry);
    // One recording verifies all its channels, of which each may have an entry of its own.
    const bool verifies = entry["kind"].text() == "verification";
    const std::string once = verifies ? measuring_command(entry) : command;
    if (command.empty() || !seen.insert(once).second) continue;
    commands += "<li><code>" + command_html(command) + "</code></li>\n";
  }
  std::string out =
      "<section class=\"again\">\n<h2>To measure it again</h2>\n<ol class=\"steps fixed\">\n"
      "<li>Speakers disconnected, or a dummy load that takes the power; engine or charger "
      "running.</li>\n"
      "<li>Head unit at the volume limit above; tone controls, loudness and filters as "
      "noted.</li>\n"
      "<li>Play the same track, record it through the same tap at the same input setting.</li>\n"
      "<li>Put the new recording's name into the command, and make the sheet with "
      "<code>--compare</code> and today's record.</li>\n</ol>\n";
  out += commands.empty() ? "<p class=\"unknown\">The record names no recordings.</p>\n"
                          : "<ul class=\"commands\">\n" + commands + "</ul>\n";
  return out + "</section>\n";
}

// Small labels to cut out and stick on: the volume mark, and each gain control's position and
// volts.

namespace {

constexpr std::size_t longest_name = 40;

/// The channels of one gain control; a channel whose control is not known is by itself.
struct ControlRows {
  std::string name;
  std::vector<const RecordRow*> rows;
};

std::vector<ControlRows> controls_of(const std::vector<RecordRow>& rows) {
  std::vector<ControlRows> controls;
  for (const RecordRow& row : rows) {
    if (row.source) continue;
    const auto known = std::find_if(controls.begin(), controls.end(), [&](const ControlRows& c) {
      return !row.control.empty() && c.rows.front()->control == row.control;
    });
    if (known == controls.end()) {
      controls.push_back({row.control, {&row}});
    } else {
      known->rows.push_back(&row);
    }
  }
  return controls;
}

std::string name_html(const ControlRows& control) {
  return control.name.empty() ? row_name_html(*control.rows.front())
                              : isolated(shortened(control.name, longest_name));
}

std::string or_blank(const Shown& number) {
  return number.known ? marked(number) : "<span class=\"blank\">&#160;</span>";
}

/// One target where all channels have the same, else each with its name.
std::string targets(const ControlRows& control) {
  const JsonView first = control.rows.front()->target["target_v"];
  const bool same = std::all_of(control.rows.begin(), control.rows.end(), [&](const auto* row) {
    return row->target["target_v"].number() == first.number();
  });
  if (same) return "<p>target <b>" + or_blank(volts(first)) + "</b></p>\n";
  std::string out;
  for (const RecordRow* row : control.rows) {
    out += "<p>" + row_name_html(*row) + " <b>" + or_blank(volts(row->target["target_v"])) +
           "</b></p>\n";
  }
  return out;
}

std::string tone(const ControlRows& control) {
  const JsonView frequency = control.rows.front()->reached["frequency_hz"];
  return frequency.known() ? "<p>tone " + marked(hertz(frequency)) + "</p>\n" : "";
}

/// A position in percent, a remark in the person's own words, or a place to write one.
std::string gain(const RecordRow& row) {
  const std::string known = gain_html(row);
  if (known.empty()) return "<p>gain at <span class=\"blank\">&#160;</span></p>\n";
  return row.gain_percent.known() ? "<p>gain at <b>" + known + "</b></p>\n"
                                  : "<p>" + known + "</p>\n";
}

std::string tag(const std::string& name, const std::string& content, bool rehearsal) {
  return "<div class=\"tag\">\n<h3>" + name + "</h3>\n" + content +
         (rehearsal ? "<p class=\"small\">REHEARSAL</p>\n" : "") + "</div>\n";
}

}  // namespace

std::string labels_part(const SheetContent& content) {
  const bool rehearsal = is_rehearsal(content.record);
  const VolumeLimit limit = volume_limit(content.record);
  std::string tags =
      tag("Volume", "<p>up to <b class=\"big\">" + or_blank(plain(limit.step)) + "</b></p>\n",
          rehearsal);
  for (const ControlRows& control : controls_of(content.rows)) {
    tags += tag(name_html(control), gain(*control.rows.front()) + targets(control) + tone(control),
                rehearsal);
  }
  return "<section class=\"labels\">\n<h2>Labels to cut out and stick on</h2>\n"
         "<div class=\"tags\">\n" +
         tags +
         "</div>\n<p class=\"small\">Gain positions are shares of the control's travel; volts are "
         "read at the amplifier's output, with the volume at its mark and the set-up tone.</p>\n"
         "</section>\n";
}

// What marks the sheet of a rehearsal: a word on every page, and the faults of the virtual car.

namespace {

constexpr std::size_t longest_fault = 200;

}  // namespace

bool is_rehearsal(const JsonView& record) {
  return record["rehearsal"].known();
}

// What the style sheet fixes to a place is printed there on every page.
std::string rehearsal_mark(const SheetContent& content) {
  const JsonView rehearsal = content.record["rehearsal"];
  if (!rehearsal.known()) return "";
  std::string car = "<bdi>" + escaped(shortened(rehearsal["car"].text(), longest_label)) + "</bdi>";
  if (rehearsal["seed"].known()) car += ", seed " + marked(plain(rehearsal["seed"]));
  return "<p class=\"rehearsal-across\" aria-hidden=\"true\">REHEARSAL</p>\n"
         "<p class=\"rehearsal\"><b>REHEARSAL</b> All of this was measured on a virtual car, " +
         car + ". None of it is true of a real one.</p>\n";
}

std::string rehearsal_part(const SheetContent& content) {
  std::string faults;
  for (const JsonView& fault : content.record["rehearsal"]["faults"].elements()) {
    faults += "<li><bdi>" + escaped(shortened(fault["words"].text(), longest_fault)) +
              "</bdi>: " + (fault["found"].flag().value_or(false) ? "corrected" : "not corrected") +
              ".</li>\n";
  }
  if (faults.empty()) return "";
  return "<section class=\"rehearsed\">\n<h2>Faults of the virtual car</h2>\n<ul>\n" + faults +
         "</ul>\n</section>\n";
}

}  // namespace railtap::report
