// SPDX-License-Identifier: MIT
// The sheet's section on one channel: figures, notes, pictures, and what is missing.
#include <optional>

#include "report/markup.hpp"
#include "report/pictures.hpp"
#include "report/sheet/parts.hpp"
#include "report/words.hpp"

namespace railtap::report {
namespace {

std::string figure_line(const char* name, const std::string& value) {
  return std::string("<dt>") + name + "</dt><dd>" + value + "</dd>\n";
}

std::string rails(const JsonView& channel) {
  const JsonView flat = channel["flat_top"];
  const JsonView high = flat["overdrive_positive_db"], low = flat["overdrive_negative_db"];
  if (!channel.known()) return marked(decibels({}));
  if (!high.known() && !low.known()) return "not reached";
  std::string out;
  if (high.known()) out += "positive " + marked(decibels(high)) + " over";
  if (high.known() && low.known()) out += ", ";
  if (low.known()) out += "negative " + marked(decibels(low)) + " over";
  return out;
}

/// What the other limits of the onset say, where there are any.
std::string onset_line(const JsonView& onset, const char* key) {
  const JsonView place = onset["onset"][key];
  const bool in_dbfs = !place["level_v"].known() && place["level_dbfs"].known();
  std::string out = marked(in_dbfs ? dbfs(place["level_dbfs"]) : volts(place["level_v"]));
  const JsonView sigma = place["uncertainty_db"];
  if (place.known() && sigma.known()) out += " \u00b1" + marked(fine_decibels(sigma));
  if (onset.known() && !place.known()) return "not met in the recording";
  return out;
}

std::string level(const JsonView& channel) {
  const bool in_dbfs = !channel["level_v"].known() && channel["level_dbfs"].known();
  return marked(in_dbfs ? dbfs(channel["level_dbfs"]) : volts(channel["level_v"]));
}

std::string found_lines(const RecordRow& row) {
  if (!row.found.known()) return "";
  return figure_line("found", level(row.found) + ", " + isolated(row.found["verdict"].text())) +
         figure_line("rails then", rails(row.found));
}

std::string target_lines(const RecordRow& row) {
  if (row.source) return "";
  std::string out = figure_line("target", marked(volts(row.target["target_v"])));
  if (row.target["power_w"].known()) {
    out += figure_line("for", marked(watts(row.target["power_w"])) + " into " +
                                  marked(ohms(row.target["load_ohm"])));
  }
  if (row.target["limited_by"].known()) {
    out += figure_line("limited by", isolated(shortened(row.target["limited_by"].text(), 60)));
  }
  return out;
}

std::string figures(const RecordRow& row) {
  std::string out = "<dl>\n" + target_lines(row) + figure_line("reached", level(row.reached)) +
                    figure_line("tone", marked(hertz(row.reached["frequency_hz"]))) +
                    figure_line("THD+N", marked(percent(row.reached["thdn_percent"]))) +
                    figure_line("rails", rails(row.reached)) +
                    figure_line("tops go flat at", onset_line(row.onset, "flat_top"));
  out += figure_line("THD+N limit at", onset_line(row.onset, "thdn"));
  out += figure_line("gives in at", onset_line(row.onset, "compression"));
  return out + figure_line("hiss, A-weighted", marked(volts(hiss_of(row)))) + found_lines(row) +
         "</dl>\n";
}

std::string tone_row(const JsonView& tone) {
  const bool in_dbfs = !tone["level_v"].known() && tone["level_dbfs"].known();
  const auto cell = [](const std::string& content) { return "<td>" + content + "</td>"; };
  return "<tr><th scope=\"row\">" + marked(hertz(tone["played_hz"])) + "</th>" +
         cell(marked(in_dbfs ? dbfs(tone["level_dbfs"]) : volts(tone["level_v"]))) +
         cell(marked(signed_decibels(tone["relative_db"]))) +
         cell(marked(percent(tone["thdn_percent"]))) +
         cell(isolated(shortened(tone["verdict"].text(), 30))) + "</tr>\n";
}

/// Levels at steady tones in the bass, where they were played.
std::string steady_tones(const RecordRow& row) {
  const JsonView tones = row.steady_tones["tones"];
  if (tones.size() == 0) return "";
  std::string out =
      "<h3>Steady bass tones</h3>\n<table>\n<thead><tr><th scope=\"col\">tone</th>"
      "<th scope=\"col\">level</th><th scope=\"col\">response</th><th scope=\"col\">THD+N</th>"
      "<th scope=\"col\">verdict</th></tr></thead>\n<tbody>\n";
  for (const JsonView& tone : tones.elements()) out += tone_row(tone);
  return out + "</tbody>\n</table>\n";
}

std::string notes(const RecordRow& row) {
  std::string out = "<div class=\"notes\">\n<h3>Gain, switches and remarks</h3>\n";
  if (row.noted.empty()) return out + "<p class=\"unknown\">nothing was noted</p>\n</div>\n";
  out += "<ul>\n";
  for (const JsonView& entry : row.noted) {
    out += "<li>" + isolated(entry["note"].text()) + " <span class=\"small\">" +
           time_html(entry["time"]) + "</span></li>\n";
  }
  return out + "</ul>\n</div>\n";
}

// What is wrong, and what to do about it.
std::string cause(const JsonView& channel) {
  const JsonView found = channel["cause"];
  if (found["sentence"].text().empty()) return "";
  return "<p class=\"cause\">" + isolated(found["sentence"].text()) + " " +
         isolated(found["remedy"].text()) + "</p>\n";
}

std::string reasons(const JsonView& channel, const char* key) {
  std::string out;
  for (const JsonView& reason : channel[key].elements()) {
    const std::string text = reason.text().empty() ? reason["text"].text() : reason.text();
    out += "<li>" + isolated(text) + "</li>\n";
  }
  return out.empty() ? "" : "<ul class=\"reasons\">\n" + out + "</ul>\n";
}

/// Pictures, and the names of those that nothing was measured for.
class Pictures {
 public:
  void add(const std::optional<svg::Plot>& plot, const char* what) {
    if (plot) {
      figures_ += "<figure>\n" + svg::drawing(*plot) + "</figure>\n";
    } else {
      missing_ += (missing_.empty() ? "" : ", ") + std::string(what);
    }
  }

  /// What stands among the pictures as one of them; may be empty.
  void add_table(const std::string& table) {
    if (!table.empty()) figures_ += "<figure class=\"tones\">\n" + table + "</figure>\n";
  }

  [[nodiscard]] std::string html() const {
    std::string out;
    if (!figures_.empty()) out += "<div class=\"pictures\">\n" + figures_ + "</div>\n";
    if (!missing_.empty()) {
      out += "<p class=\"missing\">" + missing_ +
             ": <span class=\"unknown\">not measured</span></p>\n";
    }
    return out;
  }

 private:
  std::string figures_, missing_;
};

std::string pictures(const RecordRow& row, std::size_t index) {
  const std::string id = "row" + std::to_string(index);
  const PictureName name{id, ""};
  Pictures pictures;
  if (row.found["flat_top"]["present"].flag().value_or(false)) {
    const auto found = cycle_picture(row.found, {id + "-found", "as it was found"});
    if (found) pictures.add(found, "");
  }
  const JsonView limit = row.onset_entry["result"]["limit_thdn_percent"];
  pictures.add(cycle_picture(row.reached, name), "folded cycle");
  pictures.add(transfer_picture(row.reached, name), "transfer curve");
  pictures.add(distortion_picture(row.onset, limit, name), "THD+N against level");
  pictures.add(spectrum_picture(row.reached, name), "spectrum");
  pictures.add(
      response_picture(row.verified["response"]["points"], row.steady_tones["tones"], name),
      "response");
  pictures.add_table(steady_tones(row));
  return "<div class=\"evidence\">\n" + pictures.html() + "</div>\n";
}

}  // namespace

JsonView hiss_of(const RecordRow& row) {
  const JsonView verified = row.verified["silence"]["hiss_a_v"];
  return row.quiet["noise_a_v"].known() ? row.quiet["noise_a_v"] : verified;
}

std::string channel_part(const RecordRow& row, std::size_t index) {
  const std::string full = row.subject.size() > longest_label
                               ? "<p class=\"full\">" + isolated(row.subject) + "</p>\n"
                               : "";
  return "<section class=\"channel\" id=\"row" + std::to_string(index) + "\">\n<h2>" +
         row_name_html(row) + "</h2>\n" + full + "<div class=\"rail\">\n" + figures(row) +
         cause(row.reached) + reasons(row.reached, "reasons") + reasons(row.verified, "findings") +
         notes(row) + "</div>\n" + pictures(row, index) + "</section>\n";
}

}  // namespace railtap::report
