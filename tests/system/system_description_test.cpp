// SPDX-License-Identifier: MIT
// Described systems: the starter is read, and mistakes are told with line and key.

#include <random>
#include <string>

#include <doctest/doctest.h>
#include <nlohmann/json.hpp>

#include "system/job_record.hpp"
#include "system/plan.hpp"
#include "system/system_description.hpp"
#include "units/error.hpp"

using namespace railtap;
using system::parse_system;

namespace {

std::string starter() {
  return std::string(system::starter_text());
}

/// The starter with its first `from` replaced.
std::string with(const std::string& from, const std::string& to) {
  std::string text = starter();
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

std::string refusal(const std::string& text) {
  try {
    (void)parse_system(text, "van.toml");
  } catch (const Error& error) {
    return error.what();
  }
  return "accepted";
}

bool has(const std::string& text, const std::string& part) {
  if (text.find(part) != std::string::npos) return true;
  MESSAGE("got: ", text);
  return false;
}

}  // namespace

TEST_CASE("system: the starter file says what it says") {
  const auto van = parse_system(system::starter_text(), "van.toml");
  CHECK(van.name == "camper van");
  CHECK(van.head_unit.volume_steps == 40);
  CHECK(van.head_unit.outputs.size() == 4);
  CHECK(!van.head_unit.clean_output);
  REQUIRE(van.amplifiers.size() == 2);
  REQUIRE(van.amplifiers[0].channels.size() == 4);
  const auto& channel = van.amplifiers[0].channels[1];
  CHECK(channel.name == "front right");
  CHECK(channel.rated_power == Watts(55.0));
  CHECK(channel.rated_load == Ohms(4.0));
  CHECK(channel.control == "front");
  CHECK(channel.role == system::Role::doors);
  REQUIRE(channel.cable);
  CHECK(path_of(*channel.cable) == Metres(6.0));
  CHECK(speaker_of(van, channel).power == Watts(60.0));
  CHECK(van.amplifiers[1].channels[0].role == system::Role::bass);
  CHECK(van.amplifiers[1].channels[0].inputs.size() == 2);
  REQUIRE(van.supply.feeds.size() == 1);
  CHECK(van.supply.feeds[0].cable.gauge.area == SquareMillimetres(16.0));
  CHECK(van.supply.feeds[0].fuse == Amperes(60.0));
  REQUIRE(van.meter);
  CHECK(van.meter->highest_frequency == Hertz(400.0));
  CHECK(van.sound_interface.full_scale == Volts(1.0));
  CHECK(!van.attenuator);
}

TEST_CASE("system: its JSON has the file's keys and values") {
  const auto van = parse_system(system::starter_text(), "van.toml");
  CHECK(van.document.value().at("schema") == "railtap.system/1");
  CHECK(van.document.value().at("amplifier").at(0).at("channel").at(0).at("rated_power") == "55W");
  CHECK(van.document.value().at("supply").at("feed").at(0).at("gauge") == "16mm2");
  CHECK(van.document.value().at("head_unit").at("volume_steps") == 40);
}

TEST_CASE("system: every remark-key of the starter is a key that is read") {
  // What stands behind "# " as `key = value` is taken in, one at a time.
  const std::string text = starter();
  int taken = 0;
  for (const char* key :
       {"while_setting", "available", "ampacity", "clean_output", "clean_step", "efficiency",
        "regulated", "speakers", "bridged", "tone", "plug_in_power"}) {
    const auto marked = "# " + std::string(key) + " = ";
    CAPTURE(key);
    CHECK(refusal(with(marked, std::string(key) + " = ")) == "accepted");
    ++taken;
  }
  CHECK(taken == 11);
  std::string tap = text.substr(text.find("# [attenuator]"));
  for (std::size_t at = tap.find("# "); at != std::string::npos; at = tap.find("\n# ", at)) {
    tap.erase(at + (tap[at] == '\n' ? 1 : 0), 2);
  }
  const auto van = parse_system(text.substr(0, text.find("# [attenuator]")) + tap, "van.toml");
  REQUIRE(van.attenuator);
  CHECK(van.attenuator->shunt == Ohms(330.0));
}

TEST_CASE("system: mistakes are told with line and key") {
  CHECK(has(refusal("x = "), "van.toml, line 1: is not TOML"));
  CHECK(has(refusal("{\"schema\": \"railtap.record/1\"}"), "a TOML file is wanted here"));
  CHECK(has(refusal("name = \"x\""), "does not say what it is"));
  CHECK(has(refusal(with("system/1", "system/2")), "written by a newer railtap"));
  CHECK(has(refusal(with("system/1", "rig/1")), "not a \"railtap.system/1\""));
  CHECK(has(refusal(with("volume_steps = 40", "")), "head_unit.volume_steps is missing"));
  CHECK(has(refusal(with("volume_steps = 40", "volume_steps = 40\nvolum_steps = 4")),
            "unknown key head_unit.volum_steps; did you mean volume_steps?"));
  CHECK(has(refusal(with("volume_steps = 40", "volume_steps = 40\nvolum_steps = 4")),
            "van.toml, line 28"));
  CHECK(has(refusal(with("rated_power = \"55W\"", "rated_power = 55")),
            "amplifier.channel.rated_power has no unit"));
  CHECK(has(refusal(with("rated_power = \"55W\"", "rated_power = \"55\"")), "has no unit"));
  CHECK(has(refusal(with("rated_power = \"55W\"", "rated_power = \"55V\"")),
            "amplifier.channel.rated_power"));
  CHECK(has(refusal(with("rated_power = \"55W\"", "rated_power = \"-55W\"")),
            "amplifier.channel.rated_power is -55W"));
  CHECK(has(refusal(with("rated_load = \"4ohm\"", "rated_load = \"4kohm\"")), "is 4kohm"));
  CHECK(has(refusal(with("speaker = \"door speaker\"", "speaker = \"dor speaker\"")),
            "did you mean \"door speaker\"?"));
  CHECK(has(refusal(with("inputs = [\"front left\"]", "inputs = [\"front lft\"]")),
            "no output of the head unit \"front lft\"; did you mean \"front left\"?"));
  CHECK(has(refusal(with("feed = \"main\"", "feed = \"mian\"")), "did you mean \"main\"?"));
  CHECK(has(refusal(with("gauge = \"16mm2\"", "gauge = \"16\"")),
            "supply.feed.gauge: \"16\" is no cable size"));
  CHECK(has(refusal(with("name = \"front right\"", "name = \"front left\"")),
            "two channels are called \"front left\""));
  CHECK(has(refusal(with("sensitivity_high = \"12V\"", "sensitivity_high = \"0.5V\"")),
            "sensitivity_high is not above"));
  CHECK(has(refusal(with("1.2%+5, average", "1.2%+5, avarage")), "meter.text"));
  CHECK(has(refusal(with("class = \"D\"", "class = \"H\"")), "give one of: D, AB"));
  CHECK(has(refusal(with("[head_unit]", "[headunit]")), "head_unit is missing"));
}

TEST_CASE("system: names may hold anything") {
  const std::string name = "<script>alert('x')</script> \\\" \u202e " + std::string(10'000, 'x');
  const auto van =
      parse_system(with("name = \"camper van\"", "name = \"" + name + "\""), "van.toml");
  CHECK(van.name.size() > 10'000);
}

TEST_CASE("system: text that was damaged at random is planned or refused, nothing else") {
  std::mt19937 chance(7);  // NOLINT: the same damage in every run
  const std::string text = starter();
  int refused = 0;
  for (int trial = 0; trial < 3000; ++trial) {
    std::string damaged = text;
    for (int hit = 0; hit < 3; ++hit) {
      const std::size_t at = chance() % damaged.size();
      switch (chance() % 4) {
        case 0:
          damaged[at] = static_cast<char>(chance() % 256);
          break;
        case 1:
          damaged.erase(at, 1 + chance() % 40);
          break;
        case 2:
          damaged.insert(at, damaged.substr(chance() % damaged.size(), chance() % 60));
          break;
        default:
          damaged[at] = "0129-.\"[]{}="[chance() % 12];
      }
    }
    try {
      (void)system::make_plan(parse_system(damaged, "van.toml"));
    } catch (const Error& error) {
      ++refused;
      CHECK(!error.problem().empty());
    }
  }
  CHECK(refused > 300);
  CHECK(refused < 3000);
}

// Which channels of a described system a record's subject stands for.

using namespace railtap;
using system::channel_names;
using system::Json;
using system::JsonView;

namespace {

Json channel(const char* name, const char* control) {
  return {{"name", name}, {"control", control}};
}

Json two_amplifiers() {
  Json doors = Json::array(), bass = Json::array(), amplifiers = Json::array();
  doors.push_back(channel("front left", "front"));
  doors.push_back(channel("front right", "front"));
  doors.push_back(channel("rear left", "rear"));
  bass.push_back(channel("bass", "bass"));
  bass.push_back(channel("", "front"));
  amplifiers.push_back({{"name", "doors"}, {"channel", doors}});
  amplifiers.push_back({{"name", "bass"}, {"channel", bass}});
  return {{"amplifier", amplifiers}};
}

}  // namespace

TEST_CASE("channel names: a gain control stands for its channels, a channel for itself") {
  const Json system = two_amplifiers();
  CHECK(channel_names(JsonView(system), "front") ==
        std::vector<std::string>{"front left", "front right"});
  CHECK(channel_names(JsonView(system), "front right") == std::vector<std::string>{"front right"});
  CHECK(channel_names(JsonView(system), "bass") == std::vector<std::string>{"bass"});
}

TEST_CASE("channel names: what is not described has none") {
  const Json system = two_amplifiers();
  CHECK(channel_names(JsonView(system), "tent").empty());
  CHECK(channel_names(JsonView(system), "").empty());
  CHECK(channel_names(JsonView(), "front").empty());
  const Json odd = {{"amplifier", "none"}};
  CHECK(channel_names(JsonView(odd), "front").empty());
}
