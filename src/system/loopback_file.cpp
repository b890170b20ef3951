// SPDX-License-Identifier: MIT
// A sound interface's own figures as a file that lasts.
#include "system/loopback_file.hpp"

#include <nlohmann/json.hpp>
#include <optional>

#include "system/schema.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::system {
namespace {

using Value = nlohmann::ordered_json;  // as the file has it

constexpr std::string_view kind = "railtap.loopback";
constexpr int version = 1;
constexpr std::size_t most_bytes = 4'000'000;

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
  return {{"schema", std::string(kind) + "/" + std::to_string(version)},
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
  require_schema(schema_in(json), kind, version, place);
  try {
    return interface_in(json, place);
  } catch (const Value::exception&) {
    throw Error("the file lacks what `loopback` writes into it, or has something else there", place,
                "make it again with railtap loopback");
  }
}

electric::SoundInterface read_loopback(const std::filesystem::path& path) {
  return parse_loopback(files::read_file(path, most_bytes), path.string());
}

void write_loopback(const std::filesystem::path& path, const electric::SoundInterface& interface,
                    files::Overwrite overwrite) {
  files::write_file(path, loopback_json(interface).page(), overwrite);
}

}  // namespace railtap::system
