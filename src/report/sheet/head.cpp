// SPDX-License-Identifier: MIT
// The head of the setup sheet and its first page, which is for the owner.

#include <algorithm>
#include <array>
#include <cctype>
#include <ctime>
#include <utility>

#include "report/sheet/parts.hpp"
#include "report/words.hpp"

namespace railtap::report {

// What several parts of the sheet share: names, times, the volume mark.

namespace {

/// "2026-11-25T16:10:00Z", as the record writes it.
bool is_time(const std::string& text) {
  const std::string shape = "dddd-dd-ddTdd:dd:ddZ";
  if (text.size() != shape.size()) return false;
  return std::equal(text.begin(), text.end(), shape.begin(), [](char c, char s) {
    return s == 'd' ? std::isdigit(static_cast<unsigned char>(c)) != 0 : c == s;
  });
}

/// The record's time on the clock of the place where the sheet is made. \param format of strftime
std::string local(const std::string& utc, const char* format) {
  const auto digits = [&](std::size_t at, std::size_t count) {
    return std::stoi(utc.substr(at, count));
  };
  std::tm parts{};
  parts.tm_year = digits(0, 4) - 1900;
  parts.tm_mon = digits(5, 2) - 1;
  parts.tm_mday = digits(8, 2);
  parts.tm_hour = digits(11, 2);
  parts.tm_min = digits(14, 2);
  parts.tm_sec = digits(17, 2);
  const std::time_t moment = timegm(&parts);
  std::tm here{};
  if (localtime_r(&moment, &here) == nullptr) return utc;
  std::array<char, 64> text{};
  const std::size_t length = std::strftime(text.data(), text.size(), format, &here);
  return length > 0 ? std::string(text.data(), length) : utc;
}

std::string time_as(const JsonView& time, const char* format) {
  const std::string text = time.text();
  if (text.empty()) return "<span class=\"unknown\">time unknown</span>";
  if (!is_time(text)) return isolated(shortened(text, longest_label));
  return "<time datetime=\"" + text + "\">" + escaped(local(text, format)) + "</time>";
}

}  // namespace

std::string row_name_html(const RecordRow& row) {
  std::string name = row.subject.empty() ? std::string(row.source ? "head unit" : "unnamed output")
                                         : isolated(shortened(row.subject, longest_label));
  if (row.alone || !row.number.known()) return name;
  const std::string own = own_name(row);
  if (!own.empty())
    return (row.source ? name + ", " : "") + isolated(shortened(own, longest_label));
  return name + ", channel " + marked(plain(row.number));
}

JsonView last_time(const JsonView& record) {
  const std::size_t count = record["entries"].size();
  return count == 0 ? record["created"] : record["entries"][count - 1]["time"];
}

std::string time_html(const JsonView& time) {
  return time_as(time, "%Y-%m-%d %H:%M");
}

std::string day_html(const JsonView& time) {
  return time_as(time, "%Y-%m-%d");
}

std::string volume_box(const JsonView& record) {
  const VolumeLimit limit = volume_limit(record);
  std::string out = "<p class=\"limit\"><span class=\"label\">Volume mark</span> ";
  if (!limit.step.known() && limit.level_v.known()) {
    return out + "<b>" + marked(volts(limit.level_v)) +
           "</b> <span class=\"label\">its number is not noted here</span></p>\n";
  }
  if (!limit.step.known()) return out + "<b class=\"unknown\">not measured</b></p>\n";
  out += "<b>" + marked(plain(limit.step)) + "</b>";
  if (limit.steps.known()) out += " of " + marked(plain(limit.steps));
  if (limit.level_v.known())
    out += " <span class=\"label\">" + marked(volts(limit.level_v)) + "</span>";
  return out + "</p>\n";
}

// The sheet's first page, for the owner: whose it is, the volume mark, what each channel came to,
// what was mended and what is open, cautions, and a place to sign.

namespace {

// So that the page stays one page; the rest is told on the pages behind it.
constexpr std::size_t most_lines = 7;
constexpr std::size_t longest_sentence = 150;
constexpr std::size_t longest_detail = 80;

// --- whose it is ---------------------------------------------------------------------------------

std::string detail(const char* label, const std::string& value) {
  const std::string shown = value.empty() ? "<span class=\"blank\">&#160;</span>"
                                          : isolated(shortened(value, longest_detail));
  return std::string("<p><span class=\"label\">") + label + "</span> <span>" + shown +
         "</span></p>\n";
}

std::string day(const JsonView& record) {
  const std::string given = job_detail(record, "date");
  return given.empty() ? day_html(last_time(record)) : isolated(shortened(given, longest_detail));
}

std::string details(const JsonView& record) {
  return "<div class=\"whose\">\n" + detail("Vehicle", job_detail(record, "vehicle")) +
         detail("Owner", job_detail(record, "owner")) +
         detail("Installer", job_detail(record, "installer")) +
         "<p><span class=\"label\">Date</span> <span>" + day(record) + "</span></p>\n</div>\n";
}

std::string title(const JsonView& record) {
  const std::string name = record["name"].text();
  return "<header>\n<div>\n<p class=\"kind\">Setup sheet</p>\n<h1>" +
         (name.empty() ? "Unnamed job" : isolated(shortened(name, longest_detail))) + "</h1>\n" +
         (name.size() > longest_detail ? "<p class=\"full\">" + isolated(name) + "</p>\n" : "") +
         "</div>\n" + volume_box(record) + "</header>\n";
}

// --- channels ------------------------------------------------------------------------------------

std::string level_html(const RecordRow& row) {
  const JsonView in_volts = row.reached["level_v"], in_dbfs = row.reached["level_dbfs"];
  return marked(!in_volts.known() && in_dbfs.known() ? dbfs(in_dbfs) : volts(in_volts));
}

std::string channel_row(const RecordRow& row) {
  const RowState state = state_of(row);
  const std::string known_gain = gain_html(row);
  const std::string gain =
      known_gain.empty() ? "<span class=\"unknown\">not noted</span>" : known_gain;
  const Shown volts_wanted = volts(row.target["target_v"]);
  const std::string target =
      volts_wanted.known ? marked(volts_wanted) : "<span class=\"unknown\">not noted</span>";
  return "<tr><th scope=\"row\">" + row_name_html(row) + "</th><td>" + level_html(row) +
         "</td><td>" + target + "</td><td>" + gain + "</td><td><span class=\"verdict " +
         (state.good ? "good" : "bad") + "\">" + isolated(state.word) + "</span></td></tr>\n";
}

std::string channels(const SheetContent& content) {
  std::string rows;
  for (const RecordRow& row : content.rows) {
    if (!row.source) rows += channel_row(row);
  }
  if (rows.empty()) return "<p class=\"unknown\">No channel was measured.</p>\n";
  return "<table class=\"came-to\">\n<thead><tr><th scope=\"col\">channel</th>"
         "<th scope=\"col\">set to</th><th scope=\"col\">target</th><th scope=\"col\">gain at</th>"
         "<th scope=\"col\">state</th></tr></thead>\n<tbody>\n" +
         rows + "</tbody>\n</table>\n";
}

// --- mended and open -----------------------------------------------------------------------------

/// Sentences, each with the channels that it is said of.
class Lines {
 public:
  void add(const std::string& sentence, const std::string& name_html) {
    const auto known = std::find_if(lines_.begin(), lines_.end(),
                                    [&](const auto& line) { return line.first == sentence; });
    if (known == lines_.end()) return lines_.emplace_back(sentence, name_html), void();
    known->second += ", " + name_html;
  }

  [[nodiscard]] std::string html(const char* none) const {
    if (lines_.empty()) return std::string("<p class=\"none\">") + none + "</p>\n";
    std::string out = "<ul>\n";
    for (std::size_t i = 0; i < std::min(lines_.size(), most_lines); ++i) {
      const auto& [sentence, names] = lines_[i];
      out += "<li>" + (names.empty() ? "" : names + ": ") +
             isolated(shortened(sentence, longest_sentence)) + "</li>\n";
    }
    if (lines_.size() > most_lines) out += "<li>and more, on the following pages</li>\n";
    return out + "</ul>\n";
  }

 private:
  std::vector<std::pair<std::string, std::string>> lines_;
};

/// Without what only whoever types the commands needs, "(--allow-filters if it is meant)", and
/// without its full stop: it stands in a list.
std::string for_the_owner(std::string sentence) {
  const std::size_t options = sentence.find(" (--");
  if (options != std::string::npos) sentence.erase(options);
  if (sentence.ends_with('.')) sentence.pop_back();
  return sentence;
}

/// A sentence that names its channel needs no name in front.
void add_named(Lines& lines, const RecordRow& row, const std::string& sentence) {
  const bool named = !row.subject.empty() && sentence.starts_with(row.subject + " ");
  lines.add(for_the_owner(sentence), named ? "" : row_name_html(row));
}

std::string mended(const SheetContent& content) {
  Lines lines;
  for (const RecordRow& row : content.rows) {
    const auto left = faults_of(row.verified);
    for (const std::string& fault : faults_of(row.verified_before)) {
      if (std::find(left.begin(), left.end(), fault) == left.end()) add_named(lines, row, fault);
    }
    const std::string found = row.found["verdict"].text();
    if (row.reached["verdict"].text() == "clean" && !found.empty() && found != "clean")
      lines.add("found " + found + ", clean now", row_name_html(row));
  }
  return "<section class=\"mended\">\n<h2>Found and corrected</h2>\n" +
         lines.html("no fault was noted") + "</section>\n";
}

std::string still_open(const SheetContent& content) {
  Lines lines;
  if (!volume_limit(content.record).step.known())
    lines.add("the highest clean volume is not known as a number", "");
  for (const RecordRow& row : content.rows) {
    if (row.source) continue;
    for (const std::string& sentence : state_of(row).open) add_named(lines, row, sentence);
  }
  return "<section class=\"open\">\n<h2>Still open</h2>\n" +
         lines.html("none found in what was measured") + "</section>\n";
}

std::string cautions() {
  return "<section class=\"stop fixed\">\n<h2>Cautions</h2>\n<ul>\n"
         "<li>Keep the volume at or below the mark: above it the head unit clips, which burns "
         "speakers.</li>\n"
         "<li>Leave the gain controls where the labels say, and the switches as noted on the "
         "following pages.</li>\n"
         "<li>Loud music damages hearing.</li>\n"
         "<li>Before any work on wiring or under a seat: battery disconnected. Plugs under a seat "
         "may belong to an airbag, and are handled only as the vehicle's maker says.</li>\n"
         "<li>Local codes, and those licensed to do the work, come first.</li>\n</ul>\n"
         "</section>\n";
}

std::string signatures() {
  return "<div class=\"sign\">\n<p><span class=\"blank\">&#160;</span>installer, date</p>\n"
         "<p><span class=\"blank\">&#160;</span>owner, date</p>\n</div>\n";
}

}  // namespace

std::string job_detail(const JsonView& record, const std::string& key) {
  std::string found = record["system"]["job"][key].text();
  for (const JsonView& entry : record["entries"].elements()) {
    if (entry["kind"].text() != "job") continue;
    if (entry["result"][key].known()) found = entry["result"][key].text();
  }
  return found;
}

std::string owner_part(const SheetContent& content) {
  return "<div class=\"owner\">\n" + title(content.record) + details(content.record) +
         "<section>\n<h2>Every channel</h2>\n" + channels(content) + "</section>\n" +
         "<div class=\"two\">\n" + mended(content) + still_open(content) + "</div>\n" + cautions() +
         signatures() + "<p class=\"small\">Times are local. Begun " +
         time_html(content.record["created"]) + ", last entry " +
         time_html(last_time(content.record)) + ".</p>\n</div>\n";
}

}  // namespace railtap::report
