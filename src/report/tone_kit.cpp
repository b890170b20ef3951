// SPDX-License-Identifier: MIT
// The list of a kit's files, as text and as JSON.
#include "report/tone_kit.hpp"

#include <algorithm>
#include <cmath>

#include "report/json_values.hpp"
#include "system/json_text.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

std::string padded(std::string text, std::size_t width) {
  text.resize(std::max(width, text.size()), ' ');
  return text;
}

Json file_json(const ToneFile& file) {
  Json json;
  json["file"] = file.file;
  json["name"] = file.name;
  json["title"] = file.title;
  json["signal"] = file.signal;
  json["duration_s"] = json_number(file.length.value());
  json["level_dbfs"] = json_number(file.level.value());
  json["peak_dbfs"] = file.peak_fs && *file.peak_fs > 0.0
                          ? json_number(dbfs_from_sine_peak(*file.peak_fs).value())
                          : Json(nullptr);
  json["purpose"] = file.purpose;
  json["reading"] = file.reading;
  json["caution"] = file.caution;
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
    text += "  " + padded(file.file, widest) + "  " +
            padded(format_quantity(Seconds(std::round(file.length.value() * 10.0) / 10.0)), 7) +
            "  " + file.signal + "\n";
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

std::string tone_kit_json(const ToneKit& kit) {
  Json json;
  json["schema"] = "railtap.tones/1";
  json["folder"] = kit.folder.empty() ? Json(nullptr) : Json(kit.folder);
  json["title"] = kit.title;
  json["encoding"] = kit.encoding;
  json["sample_rate_hz"] = json_number(kit.rate.value());
  json["tracks"] = Json::array();
  for (const ToneFile& file : kit.files) json["tracks"].push_back(file_json(file));
  json["cards"] = kit.cards;
  json["notes"] = kit.notes;
  return system::json_page(json);
}

}  // namespace railtap::report
