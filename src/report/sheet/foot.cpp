// SPDX-License-Identifier: MIT
// The end of the setup sheet: calibration, remarks, cautions, and how to measure again.
#include <algorithm>
#include <set>

#include "report/markup.hpp"
#include "report/sheet/parts.hpp"
#include "report/tone_kit.hpp"
#include "report/words.hpp"

namespace railtap::report {
namespace {

constexpr std::size_t longest_command_word = 200;

/// One word of a POSIX shell, whatever it holds.
std::string shell_word(const std::string& text) {
  std::string out = "'";
  for (const char c : shortened(text, longest_command_word)) {
    if (c == '\'') {
      out += "'\\''";
    } else {
      out += c;
    }
  }
  return out + "'";
}

/// The command that gave an entry; empty for what was not measured from a file.
std::string command_of(const JsonView& entry) {
  const std::string kind = entry["kind"].text();
  const std::string file = entry["result"]["file"]["name"].text();
  if (file.empty() || (kind != "analysis" && kind != "onset")) return "";
  std::string command =
      (kind == "onset" ? "railtap onset " : "railtap analyze ") + shell_word(file);
  const std::string calibration = entry["calibration"]["file"].text();
  if (!calibration.empty()) command += " --calibration " + shell_word(calibration);
  command += " --record job.json";
  for (const char* key : {"subject", "stage", "moment"}) {
    const std::string value = entry[key].text();
    if (!value.empty()) command += std::string(" --") + key + " " + shell_word(value);
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
  std::string out = "<section>\n<h2>What the volts rest on</h2>\n";
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
    const std::string note = entry["note"].text();
    if (note.empty() || !entry["subject"].text().empty()) continue;
    items += "<li>" + isolated(note) + " <span class=\"small\">" + time_html(entry["time"]) +
             "</span></li>\n";
  }
  return "<section>\n<h2>Remarks on the whole</h2>\n" +
         (items.empty() ? std::string("<p class=\"unknown\">none</p>\n")
                        : "<ul>\n" + items + "</ul>\n") +
         "</section>\n";
}

std::string cautions_part() {
  std::string out =
      "<section class=\"stop fixed\">\n<h2>Before anything is touched again</h2>\n<ul>\n";
  for (const std::string& caution : tone_cautions()) out += "<li>" + escaped(caution) + "</li>\n";
  return out +
         "<li>Local codes, and those licensed to do the work, come "
         "first.</li>\n</ul>\n</section>\n";
}

std::string repeat_part(const SheetContent& content) {
  std::string commands;
  std::set<std::string> seen;
  for (const JsonView& entry : content.record["entries"].elements()) {
    const std::string command = command_of(entry);
    if (command.empty() || !seen.insert(command).second) continue;
    commands += "<li><code>" + escaped(command) + "</code></li>\n";
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

}  // namespace railtap::report
