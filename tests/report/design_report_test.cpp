// SPDX-License-Identifier: MIT
// The tap in words, as a document and as a picture: parts named, the dangerous mistake warned of.

#include <array>
#include <sstream>
#include <string>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "electric/target.hpp"
#include "report/attenuator.hpp"
#include "report/target.hpp"
#include "support/basics.hpp"

using namespace railtap;
using namespace railtap::electric;

namespace {

TapNeed bridge_need() {
  TapNeed need;
  need.max_voltage = Volts(14.83);
  need.input_full_scale = Volts(1.0);
  need.input_resistance = Ohms(10000.0);
  need.bridge_tied = true;
  return need;
}

bool contains(const std::string& text, const char* piece) {
  return text.find(piece) != std::string::npos;
}

}  // namespace

TEST_CASE("attenuator text: a bridge-tied tap has a resistor in the sleeve's leg and says why") {
  const auto need = bridge_need();
  const auto tap = evaluate(need, with_capacitors(need, {Ohms(10000), Ohms(1000), {}, {}}));
  const auto text = report::attenuator_text(need, tap);
  CHECK(contains(text, "speaker - ---[ 10 kohm ]---||-- 10 uF"));
  CHECK(contains(text, "Neither terminal is ground"));
  CHECK(contains(text, "runs from its battery"));
  CHECK_FALSE(contains(text, "Headset"));
}

TEST_CASE("attenuator text: a single-ended tap tells how to find out that it is not") {
  auto need = bridge_need();
  need.bridge_tied = false;
  const auto text = report::attenuator_text(need, evaluate(need, choose_parts(need)));
  CHECK(contains(text, "use --bridge-tied"));
}

TEST_CASE("attenuator drawing: its columns stand above each other for every size of part") {
  for (const double series : {9100.0, 100000.0, 1000000.0}) {
    auto need = bridge_need();
    need.plug_in_power = Volts(2.5);
    const auto tap = evaluate(need, with_capacitors(need, {Ohms(series), Ohms(1000), {}, {}}));
    std::istringstream lines(report::attenuator_drawing(need, tap));
    std::string plus, bar, shunt, bar2, minus;
    for (auto* line : {&plus, &bar, &shunt, &bar2, &minus}) std::getline(lines, *line);
    CHECK(plus.find('+', 15) == bar.find('|'));
    CHECK(minus.find('+', 15) == bar.find('|'));
    CHECK(plus.find(" tip") == minus.find(" sleeve"));
  }
}

TEST_CASE("attenuator json: gain, full scale and faults, with null where nothing is fitted") {
  auto need = bridge_need();
  need.bridge_tied = false;
  const auto tap = evaluate(need, {Ohms(100), Ohms(100), {}, {}});
  const auto json = nlohmann::json::parse(report::attenuator_json(need, tap).line());
  CHECK(json["schema"] == "railtap.attenuator/1");
  CHECK(json["leg_capacitor_f"].is_null());
  CHECK(json["grounded_leg_change_db"].is_null());
  CHECK(json["faults"].size() == 3);
  CHECK(test::within_rel(json["volts_per_full_scale"].get<double>(),
                         json["full_scale_v"].get<double>() * 1.41421356, 1e-7));
}

TEST_CASE(
    "attenuator svg: a bridge-tied picture shows four parts in its legs and closes every tag") {
  const auto need = bridge_need();
  const auto svg = report::attenuator_svg(need, evaluate(need, choose_parts(need)));
  const auto count = [&svg](const std::string& piece) {
    int n = 0;
    for (auto at = svg.find(piece); at != std::string::npos; at = svg.find(piece, at + 1)) ++n;
    return n;
  };
  CHECK(count("<rect") == 4);  // ground, two legs, shunt
  CHECK(count("10 uF") == 2);
  CHECK(count("<g") == count("</g>"));
  CHECK(count("<text") == count("</text>"));
  CHECK(svg.ends_with("</svg>\n"));
}

// The target in words and as a document: the volts first, exact keys, null for what is not known.

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
