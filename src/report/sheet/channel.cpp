// SPDX-License-Identifier: MIT
// The sheet's section on one channel: figures, notes, pictures, and what is missing.
#include <optional>

#include "report/pictures.hpp"
#include "report/sheet/parts.hpp"
#include "report/words.hpp"

namespace railtap::report {
namespace {

/// Figures that were measured, and the names of those that were not.
class Figures {
 public:
  void add(const char* name, const std::string& value, bool known = true) {
    if (known) {
      lines_ += std::string("<dt>") + name + "</dt><dd>" + value + "</dd>\n";
    } else {
      missing_ += (missing_.empty() ? "" : ", ") + std::string(name);
    }
  }
  void add(const char* name, const Shown& number) { add(name, marked(number), number.known); }

  [[nodiscard]] std::string html() const {
    std::string out = lines_.empty() ? "" : "<dl>\n" + lines_ + "</dl>\n";
    if (!missing_.empty()) {
      out += "<p class=\"missing\">" + missing_ +
             ": <span class=\"unknown\">not measured</span></p>\n";
    }
    return out;
  }

 private:
  std::string lines_, missing_;
};

std::string rails(const JsonView& channel) {
  const JsonView flat = channel["flat_top"];
  const JsonView high = flat["overdrive_positive_db"], low = flat["overdrive_negative_db"];
  if (!high.known() && !low.known()) return "not reached";
  std::string out;
  if (high.known()) out += "positive " + marked(overdrive(high)) + " over";
  if (high.known() && low.known()) out += ", ";
  if (low.known()) out += "negative " + marked(overdrive(low)) + " over";
  return out;
}

/// What one of the onset's limits says.
void add_onset(Figures& figures, const char* name, const JsonView& onset, const char* key) {
  const JsonView place = onset["onset"][key];
  const bool in_dbfs = !place["level_v"].known() && place["level_dbfs"].known();
  std::string out = marked(in_dbfs ? dbfs(place["level_dbfs"]) : volts(place["level_v"]));
  const JsonView sigma = place["uncertainty_db"];
  if (place.known() && sigma.known()) out += " \u00b1" + marked(fine_decibels(sigma));
  if (onset.known() && !place.known()) out = "not reached in the recording";
  figures.add(name, out, onset.known());
}

Shown level(const JsonView& channel) {
  const bool in_dbfs = !channel["level_v"].known() && channel["level_dbfs"].known();
  return in_dbfs ? dbfs(channel["level_dbfs"]) : volts(channel["level_v"]);
}

void add_target(Figures& figures, const RecordRow& row) {
  if (row.source) return;
  figures.add("target", volts(row.target["target_v"]));
  if (row.target["power_w"].known()) {
    figures.add("for", marked(watts(row.target["power_w"])) + " into " +
                           marked(ohms(row.target["load_ohm"])));
  }
  if (row.target["limited_by"].known()) {
    figures.add("limited by", isolated(shortened(row.target["limited_by"].text(), 60)));
  }
  if (row.gain_percent.known()) figures.add("gain at", travel(row.gain_percent));
}

std::string figures(const RecordRow& row) {
  Figures figures;
  add_target(figures, row);
  figures.add("reached", level(row.reached));
  figures.add("tone", hertz(row.reached["frequency_hz"]));
  figures.add("THD+N", percent(row.reached["thdn_percent"]));
  figures.add("rails", rails(row.reached), row.reached.known());
  add_onset(figures, "clips at", row.onset, "flat_top");
  add_onset(figures, "THD+N limit at", row.onset, "thdn");
  add_onset(figures, "compression limit at", row.onset, "compression");
  figures.add("hiss, A-weighted", volts(hiss_of(row)));
  if (row.found.known()) {
    figures.add("found", marked(level(row.found)) + ", " + isolated(row.found["verdict"].text()));
    figures.add("rails as found", rails(row.found));
  }
  return figures.html();
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
  if (row.noted.empty()) return "";
  std::string out = "<div class=\"notes\">\n<h3>Gain, switches and remarks</h3>\n<ul>\n";
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

/// A picture of today, and where two records are compared the same of the earlier one beside it.
struct PicturePair {
  std::optional<svg::Plot> now, then;
};

std::string figure(const std::optional<svg::Plot>& plot, const char* caption) {
  const std::string drawn = plot ? svg::drawing(*plot) : "<p class=\"unknown\">not measured</p>\n";
  return "<figure>\n" + drawn + "<figcaption>" + caption + "</figcaption>\n</figure>\n";
}

/// Pictures, and the names of those that nothing was measured for.
class Pictures {
 public:
  explicit Pictures(bool compared) : compared_(compared) {}

  void add(const PicturePair& pair, const char* what) {
    if (!pair.now && !pair.then) {
      missing_ += (missing_.empty() ? "" : ", ") + std::string(what);
    } else if (compared_) {
      figures_ += "<div class=\"beside\">\n" + figure(pair.now, "this record") +
                  figure(pair.then, "the earlier record") + "</div>\n";
    } else {
      figures_ += "<figure>\n" + svg::drawing(*pair.now) + "</figure>\n";
    }
  }

  /// What stands among the pictures as one of them; may be empty.
  void add_table(const std::string& table) {
    if (!table.empty()) figures_ += "<figure class=\"tones\">\n" + table + "</figure>\n";
  }

  [[nodiscard]] std::string html() const {
    std::string out;
    if (!figures_.empty()) {
      out += std::string("<div class=\"pictures") + (compared_ ? " compared" : "") + "\">\n" +
             figures_ + "</div>\n";
    }
    if (!missing_.empty()) {
      out += "<p class=\"missing\">" + missing_ +
             ": <span class=\"unknown\">not measured</span></p>\n";
    }
    return out;
  }

 private:
  bool compared_;
  std::string figures_, missing_;
};

using PictureOf = std::optional<svg::Plot> (*)(const RecordRow&, const PictureName&);

std::optional<svg::Plot> found_cycle(const RecordRow& row, const PictureName& name) {
  if (!row.found["flat_top"]["present"].flag().value_or(false)) return std::nullopt;
  return cycle_picture(row.found, {name.id + "-found", "as it was found"});
}
std::optional<svg::Plot> cycle(const RecordRow& row, const PictureName& name) {
  return cycle_picture(row.reached, name);
}
std::optional<svg::Plot> transfer(const RecordRow& row, const PictureName& name) {
  return transfer_picture(row.reached, name);
}
std::optional<svg::Plot> distortion(const RecordRow& row, const PictureName& name) {
  return distortion_picture(row.onset, row.onset_entry["result"]["limit_thdn_percent"], name);
}
std::optional<svg::Plot> spectrum(const RecordRow& row, const PictureName& name) {
  return spectrum_picture(row.reached, name);
}
std::optional<svg::Plot> response(const RecordRow& row, const PictureName& name) {
  return response_picture(row.verified["response"]["points"], row.steady_tones["tones"], name);
}

std::string pictures(const RecordRow& row, std::size_t index, const RecordRow* earlier) {
  const std::string id = "row" + std::to_string(index);
  Pictures pictures(earlier != nullptr);
  const auto pair = [&](PictureOf of) {
    PicturePair both{of(row, {id, ""}), std::nullopt};
    if (earlier != nullptr) both.then = of(*earlier, {id + "-earlier", ""});
    return both;
  };
  const PicturePair found = pair(found_cycle);
  if (found.now || found.then) pictures.add(found, "");
  pictures.add(pair(cycle), "folded cycle");
  pictures.add(pair(transfer), "transfer curve");
  pictures.add(pair(distortion), "THD+N against level");
  pictures.add(pair(spectrum), "spectrum");
  pictures.add(pair(response), "response");
  pictures.add_table(steady_tones(row));
  return "<div class=\"evidence\">\n" + pictures.html() + "</div>\n";
}

}  // namespace

JsonView hiss_of(const RecordRow& row) {
  const JsonView verified = row.verified["silence"]["hiss_a_v"];
  return row.quiet["noise_a_v"].known() ? row.quiet["noise_a_v"] : verified;
}

std::string channel_part(const RecordRow& row, std::size_t index, const RecordRow* earlier) {
  const std::string full = row.subject.size() > longest_label
                               ? "<p class=\"full\">" + isolated(row.subject) + "</p>\n"
                               : "";
  return "<section class=\"channel\" id=\"row" + std::to_string(index) + "\">\n<h2>" +
         row_name_html(row) + "</h2>\n" + full + "<div class=\"rail\">\n" + figures(row) +
         cause(row.reached) + reasons(row.reached, "reasons") + reasons(row.verified, "findings") +
         notes(row) + "</div>\n" + pictures(row, index, earlier) + "</section>\n";
}

}  // namespace railtap::report
