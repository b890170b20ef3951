// SPDX-License-Identifier: MIT
// The plot kit: round marks, and foreign text that stays text.
#include <doctest/doctest.h>

#include <cmath>

#include "report/svg/plot.hpp"
#include "report/words.hpp"

using namespace railtap::report;

namespace {

std::string labels(const svg::Axis& axis, int most) {
  std::string out;
  for (const auto& tick : svg::ticks(axis, most)) out += tick.label + " ";
  return out;
}

}  // namespace

TEST_CASE("plot axis: marks stand at round values inside the axis") {
  CHECK(labels({"", svg::Scale::linear, 0.0, 1.0, 0.0}, 5) == "0.0 0.2 0.4 0.6 0.8 1.0 ");
  CHECK(labels({"", svg::Scale::linear, -30.0, 30.0, 0.0}, 6) ==
        "\u221230 \u221220 \u221210 0 10 20 30 ");
  CHECK(labels({"", svg::Scale::linear, 0.0, 360.0, 90.0}, 5) == "0 90 180 270 360 ");
  CHECK(labels({"", svg::Scale::logarithmic, 20.0, 20000.0, 0.0}, 7) == "100 1k 10k ");
  CHECK(labels({"", svg::Scale::logarithmic, 0.002, 0.2, 0.0}, 7) ==
        "0.002 0.005 0.01 0.02 0.05 0.1 0.2 ");
}

TEST_CASE("plot axis: it holds every value, however few there are") {
  const double one[] = {14.83};
  const auto around_one = svg::linear_axis("", one);
  CHECK(around_one.low <= 14.83);
  CHECK(around_one.high >= 14.83);
  CHECK(around_one.low < around_one.high);
  const double tiny[] = {0.00243, 7.2, 0.0, -1.0};
  const auto log = svg::logarithmic_axis("", tiny);
  CHECK(log.low == doctest::Approx(0.002));
  CHECK(log.high == doctest::Approx(10.0));
  CHECK(svg::linear_axis("", {}).low < svg::linear_axis("", {}).high);
}

TEST_CASE("markup: what has a meaning in XML is escaped, what XML forbids is replaced") {
  CHECK(escaped("<script>\"a\" & 'b'</script>") ==
        "&lt;script&gt;&quot;a&quot; &amp; &#39;b&#39;&lt;/script&gt;");
  CHECK(escaped(std::string("a\0b\x1b", 4)) == "a\uFFFDb\uFFFD");
  CHECK(escaped("\u0394 \U0001F50A") == "\u0394 \U0001F50A");
  CHECK(escaped("\xC0\xAF") == "\uFFFD\uFFFD");    // overlong solidus
  CHECK(escaped("\xED\xA0\x80x").ends_with("x"));  // half of a surrogate pair
  CHECK(escaped("cut \xE2\x82") == "cut \uFFFD\uFFFD");
}

TEST_CASE("markup: shortening counts characters, not bytes") {
  CHECK(shortened("front", 5) == "front");
  CHECK(shortened("front left", 6) == "front\u2026");
  CHECK(shortened("\u00e4\u00f6\u00fc\u00df", 3) == "\u00e4\u00f6\u2026");
  CHECK(shortened("", 3).empty());
}

TEST_CASE("plot: titles and descriptions are text") {
  svg::Plot plot;
  plot.id = "p";
  plot.title = "</svg><script>alert(1)</script>";
  plot.description = "\"&<";
  plot.lines.push_back({"<b>", svg::Ink::first, {0.0, 1.0}, {0.0, 1.0}});
  const std::string text = svg::drawing(plot);
  CHECK(text.find("<script") == std::string::npos);
  CHECK(text.find("<b>") == std::string::npos);
  CHECK(text.find("&quot;&amp;&lt;") != std::string::npos);
  CHECK(text.find("polyline") != std::string::npos);
}

TEST_CASE("plot: what is not a number is left out") {
  svg::Plot plot;
  plot.lines.push_back({"", svg::Ink::first, {0.0, 0.5, 1.0}, {0.0, NAN, INFINITY}});
  const std::string text = svg::drawing(plot);
  CHECK(text.find("nan") == std::string::npos);
  CHECK(text.find("inf") == std::string::npos);
}
