// SPDX-License-Identifier: MIT
// Files that last beside recordings: a calibration (TOML, railtap.calibration/1), the sidecar that
// `capture` leaves, a sound interface's own figures (JSON, railtap.loopback/1).
#include "system/kept_files.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <optional>

#include <toml++/toml.h>
#include <nlohmann/json.hpp>

#include "files/atomic_file.hpp"
#include "files/toml_table.hpp"
#include "system/json.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::system {

// A calibration as a file that lasts: TOML with the schema railtap.calibration/1.

namespace {

constexpr std::string_view calibration_kind = "railtap.calibration";
constexpr int calibration_version = 1;
constexpr std::size_t most_calibration_bytes = 1'000'000;  // a calibration has a few hundred

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
  text += "schema = " +
          toml_string(std::string(calibration_kind) + "/" + std::to_string(calibration_version)) +
          "\n\n";
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
  require_schema(text_at(table, "schema", place), calibration_kind, calibration_version, place);
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
  return parse_calibration(files::read_file(path, most_calibration_bytes), path.string());
}

void write_calibration(const std::filesystem::path& path, const CalibrationRecord& record,
                       files::Overwrite overwrite) {
  files::write_file(path, calibration_text(record), overwrite);
}

// The sidecar that `capture` leaves beside a recording, read back.

namespace {

using LibraryJson = nlohmann::json;

constexpr std::string_view sidecar_kind = "railtap.capture";
constexpr int sidecar_version = 1;
// A gap takes some hundred bytes, and a recording with ten thousand is worth nothing.
constexpr std::size_t most_sidecar_bytes = 4'000'000;
constexpr std::size_t most_places_named = 3;

std::optional<std::string> schema_in(const LibraryJson& json) {
  if (!json.is_object()) return std::nullopt;
  const auto found = json.find("schema");
  if (found == json.end() || !found->is_string()) return std::nullopt;
  return found->get<std::string>();
}

// "2026-11-25T16:10:00+0100"; none for what does not begin with a day.
std::optional<std::chrono::sys_days> day_in(const LibraryJson& json) {
  const auto found = json.find("started");
  if (found == json.end() || !found->is_string()) return std::nullopt;
  int year = 0;
  unsigned month = 0, day = 0;
  const auto text = found->get<std::string>();
  if (std::sscanf(text.c_str(), "%4d-%2u-%2uT", &year, &month, &day) != 3) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year(year), std::chrono::month(month),
                                         std::chrono::day(day)};
  return date.ok() ? std::optional(std::chrono::sys_days(date)) : std::nullopt;
}

CaptureRecord record_in(const LibraryJson& json) {
  CaptureRecord record;
  record.complete = json.at("complete").get<bool>();
  if (json.at("ended_by").is_string()) record.ended_by = json["ended_by"].get<std::string>();
  record.device = json.at("device").at("name").get<std::string>();
  record.day = day_in(json);
  record.rate = Hertz(json.at("sample_rate_hz").get<double>());
  record.frames = json.at("frames").get<std::int64_t>();
  record.lost_frames = json.at("lost_frames").get<std::int64_t>();
  record.driver_overflows = json.at("driver_overflows").get<std::int64_t>();
  for (const LibraryJson& gap : json.at("gaps")) {
    CaptureGap place{Seconds(gap.at("at_s").get<double>()), std::nullopt};
    if (gap.at("lost_frames").is_number_integer())
      place.lost_frames = gap["lost_frames"].get<std::int64_t>();
    record.gaps.push_back(place);
  }
  return record;
}

std::string places_of(const std::vector<CaptureGap>& gaps) {
  std::string text;
  for (std::size_t i = 0; i < gaps.size() && i < most_places_named; ++i) {
    text += (i == 0 ? "at " : ", ") + format_fixed(gaps[i].at, 2);
  }
  return gaps.size() > most_places_named ? text + " and later" : text;
}

std::string gaps_sentence(const CaptureRecord& record) {
  const auto count = static_cast<std::int64_t>(record.gaps.size());
  const Seconds lost(static_cast<double>(record.lost_frames) / record.rate.value());
  std::string text = "While it was recorded, samples were lost in " + std::to_string(count) +
                     (count == 1 ? " place (" : " places (") + places_of(record.gaps) + ")";
  if (record.lost_frames > 0) text += ", " + format_quantity(lost, 3) + " in all";
  return text + "; record it again before trusting figures from around there.";
}

std::string end_sentence(const CaptureRecord& record) {
  if (!record.complete)
    return "The recording was interrupted without being closed; it may be shorter than intended.";
  if (record.ended_by == "device-vanished")
    return "The recording ended because the input '" + record.device + "' vanished or fell silent.";
  if (record.ended_by == "disk-full") return "The recording ended because the disk was full.";
  return "";
}

}  // namespace

std::string future_warning(const CaptureRecord& record, std::chrono::sys_days today) {
  constexpr std::chrono::days time_zones{1};
  if (!record.day || *record.day <= today + time_zones) return "";
  const std::chrono::year_month_day date(*record.day);
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02u-%02u", static_cast<int>(date.year()),
                static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
  return std::string("By its sidecar it was recorded on ") + text.data() +
         ", which is in the future: one of the clocks was wrong.";
}

CaptureRecord parse_capture_sidecar(std::string_view text, const std::string& place) {
  const LibraryJson json = LibraryJson::parse(text, nullptr, false);
  require_schema(schema_in(json), sidecar_kind, sidecar_version, place);
  try {
    return record_in(json);
  } catch (const LibraryJson::exception&) {
    throw Error("the sidecar lacks what `capture` writes into it", place,
                "remove it, or record again");
  }
}

Sidecar read_capture_sidecar(const std::filesystem::path& recording) {
  const std::filesystem::path path = recording.string() + ".json";
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(path, ignored)) return {};
  const std::string text = files::read_file(path, most_sidecar_bytes);
  const LibraryJson json = LibraryJson::parse(text, nullptr, false);
  const auto schema = schema_in(json);
  const bool other_kind =
      !json.is_discarded() && (!schema || !schema->starts_with(std::string(sidecar_kind) + "/"));
  if (other_kind) return {};  // somebody's own notes
  if (schema) require_schema(schema, sidecar_kind, sidecar_version, path.string());
  try {
    return {parse_capture_sidecar(text, path.string()), {}};
  } catch (const Error&) {
    return {std::nullopt,
            {"The sidecar of the recording, " + path.string() +
             ", is damaged, so whether the recording is whole is not known."}};
  }
}

std::vector<std::string> capture_warnings(const CaptureRecord& record, Hertz rate,
                                          std::int64_t frames) {
  std::vector<std::string> warnings;
  if (!record.gaps.empty()) warnings.push_back(gaps_sentence(record));
  if (record.gaps.empty() && record.driver_overflows > 0)
    warnings.push_back("While it was recorded, the driver reported lost samples; record it again.");
  if (const std::string end = end_sentence(record); !end.empty()) warnings.push_back(end);
  const bool same = record.rate == rate && (!record.complete || record.frames == frames);
  if (!same) {
    warnings.emplace_back(
        "Its sidecar tells of another length or rate, so the recording was changed after it was "
        "made, or the sidecar belongs to another one.");
  }
  return warnings;
}

// A sound interface's own figures as a file that lasts.

namespace {

using Value = nlohmann::ordered_json;  // as the file has it

constexpr std::string_view loopback_kind = "railtap.loopback";
constexpr int loopback_version = 1;
constexpr std::size_t most_loopback_bytes = 4'000'000;

std::optional<std::string> schema_in(const Value& json) {
  if (!json.is_object() || !json.contains("schema") || !json["schema"].is_string())
    return std::nullopt;
  return json["schema"].get<std::string>();
}

// The points must rise in frequency: commands look them up.
void read_response(electric::SoundInterface& interface, const Value& json,
                   const std::string& place) {
  Hertz before{0.0};
  for (const Value& point : json.at("response")) {
    const Hertz frequency(point.at("frequency_hz").get<double>());
    if (!(frequency > before)) {
      throw Error("the frequencies of its response do not rise", place + ", response",
                  "make it again with railtap loopback");
    }
    interface.response.push_back({frequency, Decibels(point.at("magnitude_db").get<double>()),
                                  point.at("phase_deg").get<double>()});
    before = frequency;
  }
}

electric::SoundInterface interface_in(const Value& json, const std::string& place) {
  electric::SoundInterface interface;
  interface.device = json.value("device", "");
  interface.date = json.value("date", "");
  interface.rate =
      require_positive(Hertz(json.at("sample_rate_hz").get<double>()), place + ", sample_rate_hz");
  read_response(interface, json, place);
  interface.thdn = quantity_at<Percent>(json, "thdn_percent");
  interface.level = quantity_at<Dbfs>(json, "level_dbfs");
  interface.noise = quantity_at<Dbfs>(json, "noise_dbfs");
  interface.noise_a = quantity_at<Dbfs>(json, "noise_a_dbfs");
  interface.coupling_corner = quantity_at<Hertz>(json, "coupling_corner_hz");
  if (interface.coupling_corner)
    require_positive(*interface.coupling_corner, place + ", coupling_corner_hz");
  return interface;
}

}  // namespace

Json loopback_json(const electric::SoundInterface& interface) {
  Json response = Json::array();
  for (const auto& point : interface.response) {
    response.push_back({{"frequency_hz", point.frequency.value()},
                        {"magnitude_db", point.magnitude.value()},
                        {"phase_deg", point.phase_deg}});
  }
  return {{"schema", std::string(loopback_kind) + "/" + std::to_string(loopback_version)},
          {"device", interface.device},
          {"date", interface.date},
          {"sample_rate_hz", interface.rate.value()},
          {"thdn_percent", json_number(interface.thdn)},
          {"level_dbfs", json_number(interface.level)},
          {"noise_dbfs", json_number(interface.noise)},
          {"noise_a_dbfs", json_number(interface.noise_a)},
          {"coupling_corner_hz", json_number(interface.coupling_corner)},
          {"response", std::move(response)}};
}

electric::SoundInterface parse_loopback(std::string_view text, const std::string& place) {
  const Value json = Value::parse(text, nullptr, false);
  require_schema(schema_in(json), loopback_kind, loopback_version, place);
  try {
    return interface_in(json, place);
  } catch (const Value::exception&) {
    throw Error("the file lacks what `loopback` writes into it, or has something else there", place,
                "make it again with railtap loopback");
  }
}

electric::SoundInterface read_loopback(const std::filesystem::path& path) {
  return parse_loopback(files::read_file(path, most_loopback_bytes), path.string());
}

void write_loopback(const std::filesystem::path& path, const electric::SoundInterface& interface,
                    files::Overwrite overwrite) {
  files::write_file(path, loopback_json(interface).page(), overwrite);
}

}  // namespace railtap::system
