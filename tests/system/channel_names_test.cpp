// SPDX-License-Identifier: MIT
// Which channels of a described system a record's subject stands for.
#include "system/channel_names.hpp"

#include <doctest/doctest.h>

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
