// SPDX-License-Identifier: MIT
// Drawing the gauge of target and reached.
#include "report/sheet/gauge.hpp"

#include <algorithm>
#include <cmath>

#include "report/markup.hpp"
#include "report/svg/ticks.hpp"
#include "report/words.hpp"

namespace railtap::report {
namespace {

constexpr double width = 160, height = 26, edge = 8, middle = height / 2;

double place(double db) {
  const double share =
      (std::clamp(db, -gauge_reach_db, gauge_reach_db) / gauge_reach_db + 1.0) / 2.0;
  return edge + share * (width - 2.0 * edge);
}

std::string at(const char* key, double value) {
  return std::string(" ") + key + "=\"" + svg::coordinate(value) + "\"";
}

std::string line(const char* kind, double x1, double y1, double x2, double y2) {
  return std::string("<line class=\"") + kind + "\"" + at("x1", x1) + at("y1", y1) + at("x2", x2) +
         at("y2", y2) + "/>";
}

/// The dot; where the gauge does not reach, an arrow at its end.
std::string pointer(double db) {
  const double x = place(db);
  if (std::abs(db) <= gauge_reach_db) {
    return "<circle class=\"dot one\"" + at("cx", x) + at("cy", middle) + at("r", 4.5) + "/>";
  }
  const double side = db > 0.0 ? 1.0 : -1.0;
  return "<path class=\"dot two\" d=\"M" + svg::coordinate(x + side * 7) + " " +
         svg::coordinate(middle) + "l" + svg::coordinate(-side * 10) + " -6v12z\"/>";
}

}  // namespace

std::string gauge(const JsonView& target_v, const JsonView& reached_v, const JsonView& tolerance_db,
                  const JsonView& uncertainty_percent) {
  const auto target = target_v.number(), reached = reached_v.number();
  if (!target || !reached || *target <= 0.0 || *reached <= 0.0) return "";
  const auto decibels_of = [&](double v) { return 20.0 * std::log10(v / *target); };
  const double db = decibels_of(*reached);
  std::string out =
      "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"gauge\" viewBox=\"0 0 160 26\" "
      "role=\"img\"><title>Target " +
      escaped(volts(target_v).shown) + ", reached " + escaped(volts(reached_v).shown) + "</title>";
  if (const auto tolerance = tolerance_db.number()) {
    const double low = place(-*tolerance), high = place(*tolerance);
    out += "<rect class=\"band\"" + at("x", low) + at("y", 3) + at("width", high - low) +
           at("height", height - 6) + "/>";
  }
  out +=
      line("axis", edge, middle, width - edge, middle) + line("target", place(0), 1, place(0), 25);
  if (const auto percent = uncertainty_percent.number()) {
    const double share = std::clamp(*percent / 100.0, 0.0, 0.9);
    const double low = place(decibels_of(*reached * (1.0 - share)));
    const double high = place(decibels_of(*reached * (1.0 + share)));
    out += line("whisker", low, middle, high, middle) +
           line("whisker", low, middle - 4, low, middle + 4) +
           line("whisker", high, middle - 4, high, middle + 4);
  }
  return out + pointer(db) + "</svg>";
}

}  // namespace railtap::report
