// SPDX-License-Identifier: MIT
// The target in words and as a document: the volts first, exact keys, null for what is not known.
#include <doctest/doctest.h>

#include <array>
#include <nlohmann/json.hpp>
#include <string>

#include "electric/target.hpp"
#include "report/target.hpp"
#include "support/within.hpp"

using namespace railtap;
using namespace railtap::electric;

namespace {

std::vector<ChannelTarget> resolved(std::initializer_list<const char*> channels,
                                    const Conditions& conditions = {}) {
  std::vector<ChannelTarget> results;
  for (const auto* text : channels) {
    results.push_back(resolve(parse_channel(text, "--channel"), conditions));
  }
  return results;
}

}  // namespace

TEST_CASE("target text: the volts to set come first") {
  const auto text = report::target_text(resolved({"front:50W:4ohm"}), {});
  CHECK(text.starts_with("front: set 14.14 V AC for 50 W into 4 ohm"));
}

TEST_CASE("target text: a reading is given with its power and what to do") {
  Conditions conditions;
  conditions.meter = parse_meter("1%+3, 0.1V", "--meter");
  const auto text = report::target_text(resolved({"bass:100W:4ohm:18.0V"}, conditions), conditions);
  CHECK(text.find("Reading 18.00 V ± 0.48 V: 81.0 W (76.7 W to 85.4 W). Raise by 0.92 dB.") !=
        std::string::npos);
}

TEST_CASE("target json: one channel has the keys that were promised, without a reading null") {
  const auto json =
      nlohmann::json::parse(report::target_json(resolved({"front:50W:4ohm:60W"}), {}).line());
  CHECK(json["schema"] == "railtap.target/1");
  CHECK(json["power_w"] == 50.0);
  CHECK(json["load_ohm"] == 4.0);
  CHECK(json["limited_by"] == "amplifier");
  CHECK(test::within_abs(json["target_v"].get<double>(), 14.1421356, 1e-6));
  CHECK(test::within_abs(json["target_v_peak"].get<double>(), 20.0, 1e-9));
  CHECK(test::within_abs(json["current_a"].get<double>(), 3.5355339, 1e-6));
  CHECK(json["tolerance_db"] == 0.25);
  for (const auto* key :
       {"reading_v", "reading_uncertainty_v", "reading_power_w", "change_db", "direction"}) {
    CAPTURE(key);
    REQUIRE(json.contains(key));
    CHECK(json[key].is_null());
  }
}

TEST_CASE("target json: several channels are a list, and a speaker's limit is named") {
  const auto json = nlohmann::json::parse(
      report::target_json(resolved({"front:50W:4ohm:40W:14.0V", "bass:280W:2ohm"}), {}).line());
  CHECK(json["schema"] == "railtap.target/1");
  REQUIRE(json["channels"].size() == 2);
  CHECK(json["channels"][0]["name"] == "front");
  CHECK(json["channels"][0]["limited_by"] == "speaker");
  CHECK(json["channels"][0]["direction"] == "lower");
  CHECK(json["channels"][0]["reading_uncertainty_v"].is_null());
  CHECK(json["channels"][1]["direction"].is_null());
}
