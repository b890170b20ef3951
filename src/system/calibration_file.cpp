// SPDX-License-Identifier: MIT
// A calibration as a file that lasts: TOML with the schema railtap.calibration/1.
#include "system/calibration_file.hpp"

#include <toml++/toml.h>

#include <array>
#include <charconv>
#include <cmath>

#include "files/toml_table.hpp"
#include "system/schema.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::system {
namespace {

constexpr std::string_view kind = "railtap.calibration";
constexpr int version = 1;
constexpr std::size_t most_bytes = 1'000'000;  // a calibration has a few hundred

std::string number(double value) {
  std::array<char, 32> buffer{};
  const auto result = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  std::string text(buffer.data(), result.ptr);
  // TOML tells 30 from 30.0; both are read, but a reader should see a measured number.
  if (text.find_first_of(".e") == std::string::npos) text += ".0";
  return text;
}

/// A basic string [TOML 1.0, "String"].
std::string toml_string(std::string_view text) {
  std::string result = "\"";
  constexpr char hex[] = "0123456789ABCDEF";
  for (const char c : text) {
    const auto code = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      result += std::string("\\") + c;
    } else if (code < 0x20 || code == 0x7f) {
      result += std::string("\\u00") + hex[code >> 4] + hex[code & 0xf];
    } else {
      result += c;
    }
  }
  return result + "\"";
}

template <class Q>
std::string entry(const char* key, const std::optional<Q>& quantity) {
  return quantity ? std::string(key) + " = " + number(quantity->value()) + "\n" : "";
}

std::string entry(const char* key, const std::optional<std::string>& text) {
  return text ? std::string(key) + " = " + toml_string(*text) + "\n" : "";
}

std::optional<std::string> text_at(const toml::table& table, const char* key,
                                   const std::string& place) {
  const auto* node = table.get(key);
  if (node == nullptr) return std::nullopt;
  if (const auto text = node->value_exact<std::string>()) return *text;
  throw Error(std::string("\"") + key + "\" is not text", place, "write it in quotation marks");
}

std::optional<double> number_at(const toml::table& table, const char* key,
                                const std::string& place) {
  const auto* node = table.get(key);
  if (node == nullptr) return std::nullopt;
  const auto value = node->is_number() ? node->value<double>() : std::nullopt;
  if (value && std::isfinite(*value)) return value;
  throw Error(std::string("\"") + key + "\" is not a number", place,
              "write it without quotation marks and without a unit");
}

template <class Q>
std::optional<Q> positive_at(const toml::table& table, const char* key, const std::string& place) {
  const auto value = number_at(table, key, place);
  if (!value) return std::nullopt;
  return require_positive(Q(*value), place + ", " + key);
}

std::optional<int> channel_at(const toml::table& table, const std::string& place) {
  constexpr std::int64_t most_channels = 1024;
  const auto* node = table.get("channel");
  if (node == nullptr) return std::nullopt;
  const auto value = node->value_exact<std::int64_t>();
  if (value && *value >= 1 && *value <= most_channels) return static_cast<int>(*value);
  throw Error("\"channel\" is not a channel's number", place, "count from 1");
}

CalibrationOrigin origin_in(const toml::table& table, const std::string& place) {
  CalibrationOrigin origin;
  origin.date = text_at(table, "date", place);
  origin.recording = text_at(table, "recording", place);
  origin.device = text_at(table, "device", place);
  origin.channel = channel_at(table, place);
  origin.sample_rate = positive_at<Hertz>(table, "sample_rate_hz", place);
  origin.tone = positive_at<Hertz>(table, "tone_hz", place);
  if (const auto level = number_at(table, "level_dbfs", place)) origin.level = Dbfs(*level);
  origin.reading = positive_at<Volts>(table, "reading_v", place);
  origin.meter = text_at(table, "meter", place);
  origin.divider = text_at(table, "divider", place);
  origin.nominal = positive_at<Volts>(table, "nominal_volts_per_full_scale", place);
  return origin;
}

}  // namespace

std::string calibration_text(const CalibrationRecord& record) {
  const CalibrationOrigin& origin = record.origin;
  std::string text = "# How many volts at the speaker terminals fill the recording input.\n";
  text +=
      "# It holds for this tap, input, input gain and load only: calibrate again after a change.\n";
  text += "schema = " + toml_string(std::string(kind) + "/" + std::to_string(version)) + "\n\n";
  text += "# Peak volts between the terminals at digital full scale.\n";
  text += "volts_per_full_scale = " + number(record.volts_per_full_scale.value()) + "\n";
  if (record.uncertainty) {
    text += "# Limits of its error, plus or minus.\n" +
            entry("uncertainty_percent", record.uncertainty);
  }
  const std::string how =
      entry("date", origin.date) + entry("recording", origin.recording) +
      entry("device", origin.device) +
      (origin.channel ? "channel = " + std::to_string(*origin.channel) + "\n" : "") +
      entry("sample_rate_hz", origin.sample_rate) + entry("tone_hz", origin.tone) +
      entry("level_dbfs", origin.level) + entry("reading_v", origin.reading) +
      entry("meter", origin.meter) + entry("divider", origin.divider) +
      entry("nominal_volts_per_full_scale", origin.nominal);
  if (!how.empty()) text += "\n# How it was found.\n" + how;
  return text;
}

CalibrationRecord parse_calibration(std::string_view text, const std::string& place) {
  const toml::table table = files::parse_toml(text, place, "correct that line");
  require_schema(text_at(table, "schema", place), kind, version, place);
  const auto volts = positive_at<Volts>(table, "volts_per_full_scale", place);
  if (!volts) {
    throw Error("\"volts_per_full_scale\" is missing", place,
                "make the file with railtap calibrate");
  }
  CalibrationRecord record;
  record.volts_per_full_scale = *volts;
  record.uncertainty = positive_at<Percent>(table, "uncertainty_percent", place);
  record.origin = origin_in(table, place);
  return record;
}

CalibrationRecord read_calibration(const std::filesystem::path& path) {
  return parse_calibration(files::read_file(path, most_bytes), path.string());
}

void write_calibration(const std::filesystem::path& path, const CalibrationRecord& record,
                       files::Overwrite overwrite) {
  files::write_file(path, calibration_text(record), overwrite);
}

}  // namespace railtap::system
