// SPDX-License-Identifier: MIT
// A kit's files as a list, as a document, and as the card beside them.
#include "report/tone_kit.hpp"

#include <algorithm>
#include <cmath>

#include "report/words.hpp"
#include "system/json.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

using system::Json;
using system::json_number;

}  // namespace

// --- list and document ---------------------------------------------------------------------------

namespace {

std::string padded(std::string text, std::size_t width) {
  text.resize(std::max(width, text.size()), ' ');
  return text;
}

std::string length_text(Seconds length) {
  return format_quantity(Seconds(std::round(length.value() * 10.0) / 10.0));
}

Json file_json(const ToneFile& file) {
  Json json;
  json.set("file", file.file);
  json.set("name", file.name);
  json.set("title", file.title);
  json.set("signal", file.signal);
  json.set("duration_s", json_number(file.length.value()));
  json.set("level_dbfs", json_number(file.level.value()));
  json.set("peak_dbfs", file.peak_fs && *file.peak_fs > 0.0
                            ? json_number(dbfs_from_sine_peak(*file.peak_fs).value())
                            : Json(nullptr));
  json.set("purpose", file.purpose);
  json.set("reading", file.reading);
  json.set("caution", file.caution);
  return json;
}

}  // namespace

std::string tone_kit_text(const ToneKit& kit) {
  std::size_t widest = 0;
  Seconds total{0.0};
  for (const ToneFile& file : kit.files) {
    widest = std::max(widest, file.file.size());
    total += file.length;
  }
  std::string text = kit.title + ": " + kit.encoding + ", " + format_quantity(kit.rate, 4) + "\n";
  for (const ToneFile& file : kit.files) {
    text += "  " + padded(file.file, widest) + "  " + padded(length_text(file.length), 7) + "  " +
            file.signal + "\n";
  }
  for (const std::string& note : kit.notes) text += "Note: " + note + "\n";
  if (!kit.folder.empty()) {
    text += "Written to " + kit.folder;
    for (const std::string& card : kit.cards)
      text += (&card == &kit.cards.front() ? "; what each track is for: " : ", ") + card;
    text += "\n";
  }
  return text;
}

Json tone_kit_json(const ToneKit& kit) {
  Json json;
  json.set("schema", "railtap.tones/1");
  json.set("folder", kit.folder.empty() ? Json(nullptr) : Json(kit.folder));
  json.set("title", kit.title);
  json.set("encoding", kit.encoding);
  json.set("sample_rate_hz", json_number(kit.rate.value()));
  Json tracks = Json::array();
  for (const ToneFile& file : kit.files) tracks.push_back(file_json(file));
  json.set("tracks", std::move(tracks));
  json.set("cards", kit.cards);
  json.set("notes", kit.notes);
  return json;
}

// --- card ----------------------------------------------------------------------------------------

namespace {

constexpr std::size_t line_width = 88;

const char* const levels_text =
    "Levels are dBFS: RMS relative to a full-scale sine. A tone at 0 dBFS peaks one or two codes "
    "below full scale, so that its dither clips nothing (0.0005 dB in 16 bit); between its samples "
    "it rises no higher, so its true peak is 0 dBFS too. Starts, stops and steps are faded over "
    "10 ms or one cycle.";

std::string wrapped(const std::string& text, const std::string& indent) {
  std::string out, line = indent;
  std::size_t start = 0;
  while (start < text.size()) {
    std::size_t end = text.find(' ', start);
    if (end == std::string::npos) end = text.size();
    const std::string word = text.substr(start, end - start);
    if (line.size() > indent.size() && line.size() + 1 + word.size() > line_width) {
      out += line + "\n";
      line = indent;
    }
    line += (line.size() > indent.size() ? " " : "") + word;
    start = end + 1;
  }
  return out + line + "\n";
}

std::string encoding_text(const ToneKit& kit) {
  return kit.encoding + ", " + format_quantity(kit.rate, 4) + ", stereo";
}

std::string level_text(const ToneFile& file) {
  return std::isfinite(file.level.value()) ? format_fixed(file.level, 1) : "none";
}

const char* const style = R"(
body { font: 16px/1.45 Georgia, serif; color: #1b1b1b; background: #fdfcf8; max-width: 62rem;
  margin: 2rem auto; padding: 0 1rem }
h1 { font-size: 1.6rem; margin: 0 0 .2rem }
h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem }
.stop { border: 3px solid #a4261d; padding: .2rem 1rem; margin: 1rem 0 }
.stop h2 { color: #a4261d; margin: .6rem 0 .2rem }
article { border-top: 1px solid #bbb3a2; padding: .7rem 0; break-inside: avoid }
article h3 { margin: 0; font-size: 1.05rem }
article p { margin: .2rem 0 }
code { font: .9em/1.3 ui-monospace, monospace; overflow-wrap: anywhere }
.care { color: #a4261d }
.small { color: #555; font-size: .9rem }
@media (prefers-color-scheme: dark) {
  body { background: #17181a; color: #e6e2d8 }
  .stop { border-color: #ff8a7a }
  .stop h2, .care { color: #ff8a7a }
  article { border-color: #55514a }
  .small { color: #b0aca2 }
}
@media print {
  body { background: #fff; color: #000; margin: 0; max-width: none; font-size: 11pt }
  .stop, .stop h2, .care { color: #000; border-color: #000 }
  .small { color: #333 }
}
)";

std::string paragraph(const std::string& text, const char* kind = "", const char* label = "") {
  if (text.empty()) return "";
  std::string out = *kind == '\0' ? "<p>" : "<p class=\"" + std::string(kind) + "\">";
  if (*label != '\0') out += "<b>" + std::string(label) + "</b> ";
  return out + escaped(text) + "</p>\n";
}

std::string article(const ToneFile& file) {
  return "<article>\n<h3>" + escaped(file.title) + "</h3>\n<p class=\"small\"><code>" +
         escaped(file.file) + "</code> &middot; " + escaped(file.signal) + " &middot; " +
         length_text(file.length) + "</p>\n" + paragraph(file.purpose) +
         paragraph(file.reading, "", "Expect:") + paragraph(file.caution, "care", "Caution:") +
         "</article>\n";
}

}  // namespace

const std::vector<std::string>& tone_cautions() {
  static const std::vector<std::string> cautions{
      ("Disconnect the speakers for every tone at or near full level. Measure into a dummy load "
       "that takes the amplifier's rated power and is allowed to get hot, or with no load."),
      ("A steady tone heats a voice coil far more than music of the same peak. With speakers "
       "connected, play tones quietly, and none longer than a few seconds at more than a tenth of "
       "the speaker's rating. Tweeters are damaged first."),
      ("Full-level tones damage hearing. Start every track at the lowest volume, leave the car or "
       "wear protection, and warn others."),
      ("Outputs of head units and many amplifiers are bridge-tied: neither wire is ground. Never "
       "join one to the chassis or to the sleeve of an audio plug; use the tap of `railtap "
       "attenuator`."),
      "Switch off loudness, bass boost, equalisers and surround while setting; note what was on.",
      ("Work on wiring with the battery disconnected; connectors under seats may belong to "
       "airbags, "
       "which are handled only as the vehicle's maker says."),
  };
  return cautions;
}

std::string tone_card_text(const ToneKit& kit) {
  std::string text = kit.title + "\n" + encoding_text(kit) + "\n\nBEFORE THE FIRST TONE\n";
  for (const std::string& caution : tone_cautions()) text += wrapped("* " + caution, "  ");
  text += "\nTRACKS\n";
  for (const ToneFile& file : kit.files) {
    text += "\n" + file.file + "  (" + length_text(file.length) + ", highest level " +
            level_text(file) + ")\n";
    text += wrapped(file.title, "  ");
    if (!file.purpose.empty()) text += wrapped(file.purpose, "  ");
    if (!file.reading.empty()) text += wrapped("Expect: " + file.reading, "  ");
    if (!file.caution.empty()) text += wrapped("Caution: " + file.caution, "  ");
  }
  text += "\nABOUT THE FILES\n" + wrapped(levels_text, "  ");
  for (const std::string& note : kit.notes) text += wrapped(note, "  ");
  return text;
}

std::string tone_card_html(const ToneKit& kit) {
  std::string html =
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>" +
      escaped(kit.title) + "</title>\n<style>" + style + "</style>\n</head>\n<body>\n<h1>" +
      escaped(kit.title) + "</h1>\n" + paragraph(encoding_text(kit), "small") +
      "<section class=\"stop\">\n<h2>Before the first tone</h2>\n<ul>\n";
  for (const std::string& caution : tone_cautions()) html += "<li>" + escaped(caution) + "</li>\n";
  html += "</ul>\n</section>\n<h2>Tracks</h2>\n";
  for (const ToneFile& file : kit.files) html += article(file);
  html += "<h2>About the files</h2>\n" + paragraph(levels_text);
  for (const std::string& note : kit.notes) html += paragraph(note);
  return html + "</body>\n</html>\n";
}

}  // namespace railtap::report
