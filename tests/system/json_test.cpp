// SPDX-License-Identifier: MIT
// JSON documents as values: what is built is what is written, and looking into one never fails.
#include "system/json.hpp"

#include <doctest/doctest.h>

#include <limits>
#include <string>

#include "units/quantity.hpp"

using namespace railtap;
using system::Json;
using system::json_number;
using system::JsonView;

namespace {

const Json sample = {{"text", "a\"b"},
                     {"none", nullptr},
                     {"flag", true},
                     {"count", 3},
                     {"level_db", -1.5},
                     {"words", std::vector<std::string>{"x", "y"}},
                     {"inner", {{"list", Json::array({0.5, 1.0})}}}};

}  // namespace

TEST_CASE("json: keys stay in order, and every kind of value is written as such") {
  CHECK(sample.line() ==
        R"({"text":"a\"b","none":null,"flag":true,"count":3,"level_db":-1.5,"words":["x","y"],)"
        R"("inner":{"list":[0.5,1.0]}})");
}

TEST_CASE("json: what is not finite or not known is null [RFC 8259, section 6]") {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  constexpr double infinity = std::numeric_limits<double>::infinity();
  const Json json = {{"a", nan},
                     {"b", infinity},
                     {"c", json_number(std::optional<Volts>())},
                     {"d", json_number(std::optional(Volts(2.5)))}};
  CHECK(json.line() == R"({"a":null,"b":null,"c":null,"d":2.5})");
  CHECK(Json::array({1.0, nan}).line() == "[1.0,null]");
}

TEST_CASE("json: a copy is its own, and a member that is set again keeps its place") {
  Json copy = sample;
  copy.set("none", 1);
  copy.erase("words");
  copy.update({{"flag", false}, {"more", "z"}});
  CHECK(copy.line() == R"({"text":"a\"b","none":1,"flag":false,"count":3,"level_db":-1.5,)"
                       R"("inner":{"list":[0.5,1.0]},"more":"z"})");
  CHECK(JsonView(sample)["flag"].flag() == true);
}

TEST_CASE("json: bytes that are no UTF-8 become U+FFFD [Unicode 15, section 3.9]") {
  CHECK(Json("a\xFF"
             "b")
            .line() == "\"a\uFFFDb\"");
}

TEST_CASE("json view: what is missing or of another kind is absent") {
  const JsonView view(sample);
  CHECK(view["count"].number() == 3.0);
  CHECK(view["count"].integer() == 3);
  CHECK_FALSE(view["level_db"].integer());
  CHECK_FALSE(view["text"].number());
  CHECK_FALSE(view["none"].known());
  CHECK_FALSE(view["missing"]["deeper"][3].known());
  CHECK(view["words"].size() == 2);
  CHECK(view["inner"]["list"].numbers() == std::vector<double>{0.5, 1.0});
  CHECK(view["inner"]["list"][1].pointer() == "/inner/list/1");
  CHECK(view["a/b~"].pointer().empty());
  CHECK_FALSE(JsonView().known());
}
