// SPDX-License-Identifier: MIT
// The tap in words, as a document and as a picture: parts named, the dangerous mistake warned of.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <sstream>
#include <string>

#include "report/attenuator.hpp"
#include "support/within.hpp"

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
