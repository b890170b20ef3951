// SPDX-License-Identifier: MIT
// The sidecar that `capture` leaves beside a recording, read back.
#include "system/capture_sidecar.hpp"

#include <array>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "files/atomic_file.hpp"
#include "system/schema.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::system {
namespace {

using LibraryJson = nlohmann::json;

constexpr std::string_view kind = "railtap.capture";
constexpr int version = 1;
// A gap takes some hundred bytes, and a recording with ten thousand is worth nothing.
constexpr std::size_t most_bytes = 4'000'000;
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
    return "The recording was broken off without an orderly end; it may be shorter than intended.";
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
         ", which has not come yet: a clock was wrong, here or there.";
}

CaptureRecord parse_capture_sidecar(std::string_view text, const std::string& place) {
  const LibraryJson json = LibraryJson::parse(text, nullptr, false);
  require_schema(schema_in(json), kind, version, place);
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
  const std::string text = files::read_file(path, most_bytes);
  const LibraryJson json = LibraryJson::parse(text, nullptr, false);
  const auto schema = schema_in(json);
  const bool other_kind =
      !json.is_discarded() && (!schema || !schema->starts_with(std::string(kind) + "/"));
  if (other_kind) return {};  // somebody's own notes
  if (schema) require_schema(schema, kind, version, path.string());
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

}  // namespace railtap::system
