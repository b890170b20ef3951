// SPDX-License-Identifier: MIT
// The tap's wiring as a picture.
#include "report/attenuator_svg.hpp"

#include "units/print.hpp"

namespace railtap::report {
namespace {

using namespace electric;

// The drawing's grid, in units of the picture.
constexpr int width = 720, height = 300;
constexpr int top = 90, bottom = 210, middle = (top + bottom) / 2;
constexpr int terminal_x = 110, resistor_x = 210, capacitor_x = 340, shunt_x = 440;
constexpr int output_capacitor_x = 520, input_x = 600;
constexpr int resistor_half = 34, resistor_thick = 10, plate_half = 16, plate_gap = 6;

std::string at(const char* name, int value) {
  return std::string(" ") + name + "=\"" + std::to_string(value) + "\"";
}

std::string line(int x1, int y1, int x2, int y2) {
  return "<line" + at("x1", x1) + at("y1", y1) + at("x2", x2) + at("y2", y2) + "/>\n";
}

std::string label(int x, int y, const std::string& text, const char* anchor = "middle") {
  return "<text" + at("x", x) + at("y", y) + " text-anchor=\"" + anchor + "\">" + text +
         "</text>\n";
}

std::string box(int x, int y, int w, int h) {
  return "<rect" + at("x", x) + at("y", y) + at("width", w) + at("height", h) + "/>\n";
}

std::string dot(int x, int y, int radius) {
  return "<circle" + at("cx", x) + at("cy", y) + at("r", radius) + "/>\n";
}

std::string resistor_across(int x, int y, Ohms value) {
  return box(x - resistor_half, y - resistor_thick, 2 * resistor_half, 2 * resistor_thick) +
         label(x, y - 18, format_quantity(value));
}

std::string capacitor_across(int x, int y, Farads value) {
  return line(x - plate_gap, y - plate_half, x - plate_gap, y + plate_half) +
         line(x + plate_gap, y - plate_half, x + plate_gap, y + plate_half) +
         label(x, y - 24, format_quantity(value));
}

/// A wire from `from` to `to` that leaves room for a capacitor at `x`, if there is one.
std::string wire(int from, int to, int y, int x, const std::optional<Farads>& capacitor) {
  if (!capacitor) return line(from, y, to, y);
  return line(from, y, x - plate_gap, y) + line(x + plate_gap, y, to, y) +
         capacitor_across(x, y, *capacitor);
}

std::string leg(int y, const Tap& tap) {
  return line(terminal_x, y, resistor_x - resistor_half, y) +
         resistor_across(resistor_x, y, tap.parts.series_each) +
         wire(resistor_x + resistor_half, shunt_x, y, capacitor_x, tap.parts.leg_capacitor);
}

std::string shunt(const Tap& tap) {
  return line(shunt_x, top, shunt_x, middle - resistor_half) +
         box(shunt_x - resistor_thick, middle - resistor_half, 2 * resistor_thick,
             2 * resistor_half) +
         line(shunt_x, middle + resistor_half, shunt_x, bottom) +
         label(shunt_x + 20, middle + 5, format_quantity(tap.parts.shunt), "start");
}

std::string terminals() {
  return dot(terminal_x, top, 5) + dot(terminal_x, bottom, 5) + dot(input_x, top, 5) +
         dot(input_x, bottom, 5) + label(terminal_x - 14, top + 5, "speaker +", "end") +
         label(terminal_x - 14, bottom + 5, "speaker \u2212", "end") +
         label(input_x + 14, top + 5, "tip", "start") +
         label(input_x + 14, bottom + 5, "sleeve", "start");
}

const char* caution(bool bridge_tied) {
  return bridge_tied ? "Neither terminal is ground. Laptop on battery, nothing else plugged in."
                     : "Only where the minus terminal is ground (0 V DC to the chassis).";
}

}  // namespace

std::string attenuator_svg(const TapNeed& need, const Tap& tap) {
  const std::string kind = need.bridge_tied ? "Bridge-tied tap" : "Single-ended tap";
  const std::string size = std::to_string(width) + " " + std::to_string(height);
  std::string svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 " + size +
                    "\" role=\"img\" aria-labelledby=\"tap-title\" font-family=\"sans-serif\" "
                    "font-size=\"15\">\n<title id=\"tap-title\">" +
                    kind + ", " + format_fixed(tap.gain, 1) +
                    "</title>\n<rect width=\"100%\" height=\"100%\" "
                    "fill=\"#ffffff\"/>\n<g fill=\"none\" stroke=\"#1a1a1a\" stroke-width=\"2\">\n"
                    "<g stroke-linecap=\"round\">\n";
  std::string drawing = leg(top, tap) + shunt(tap);
  drawing += need.bridge_tied ? leg(bottom, tap) : line(terminal_x, bottom, shunt_x, bottom);
  drawing += wire(shunt_x, input_x, top, output_capacitor_x, tap.parts.output_capacitor);
  drawing += line(shunt_x, bottom, input_x, bottom) + terminals();
  svg += drawing + "</g>\n</g>\n" +
         "<style>text{fill:#1a1a1a;stroke:none}circle{fill:#1a1a1a}</style>\n";
  svg += label(width / 2, 34,
               kind + ": " + format_fixed(tap.gain, 2) + ", input full at " +
                   format_quantity(tap.full_scale, 3, Zeros::keep));
  return svg + label(width / 2, height - 26, caution(need.bridge_tied)) + "</svg>\n";
}

}  // namespace railtap::report
