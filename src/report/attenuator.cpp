// SPDX-License-Identifier: MIT
// The tap as a document, in words, and as a picture.
#include "report/attenuator.hpp"

#include <algorithm>

#include "units/print.hpp"

namespace railtap::report {
namespace {

using namespace electric;
using system::Json;

}  // namespace

// --- words ---------------------------------------------------------------------------------------

namespace {

constexpr std::size_t leg_width = 42;  // from the terminal to the point above the shunt

std::string filled(std::string text, std::size_t width, char with) {
  text.resize(std::max(text.size(), width), with);
  return text;
}

std::string leg_line(const char* terminal, const Tap& tap, bool with_resistor) {
  std::string line = std::string(terminal) + " ---";
  if (with_resistor) {
    line += "[ " + format_quantity(tap.parts.series_each) + " ]---";
    if (tap.parts.leg_capacitor) line += "||-- " + format_quantity(*tap.parts.leg_capacitor) + " ";
  }
  return filled(line, leg_width, '-') + "+--";
}

std::string parts_lines(const TapNeed& need, const Tap& tap) {
  const std::string rating = ", " + format_quantity(need.resistor_rating);
  std::string text = "Parts\n";
  text += need.bridge_tied ? "  2 x " : "  1 x ";
  text += format_quantity(tap.parts.series_each) + rating + " (takes " +
          format_quantity(tap.series_power, 2) + ")\n";
  text += "  1 x " + format_quantity(tap.parts.shunt) + rating + " (takes " +
          format_quantity(tap.shunt_power, 2) + ")\n";
  if (tap.parts.leg_capacitor) {
    text += "  2 x " + format_quantity(*tap.parts.leg_capacitor) +
            ", film or non-polar, 35 V or more\n";
  }
  if (tap.parts.output_capacitor) {
    text += "  1 x " + format_quantity(*tap.parts.output_capacitor) +
            ", electrolytic with its plus towards the socket, 16 V or more\n";
  }
  return text;
}

std::string level_lines(const TapNeed& need, const Tap& tap) {
  std::string text = "What it does\n";
  text += "  " + format_fixed(tap.gain, 2) + " into this input (" +
          format_fixed(tap.gain_unloaded, 2) + " unloaded), " + format_fixed(tap.gain_lowest, 2) +
          " to " + format_fixed(tap.gain_highest, 2) + " with parts of " +
          format_quantity(need.resistor_tolerance) + "; `railtap calibrate` finds the true value\n";
  text += "  input full at " + format_quantity(tap.full_scale, 3, Zeros::keep) +
          " of sine between the terminals, " + format_fixed(tap.headroom, 1) + " above " +
          format_quantity(need.max_voltage) + "\n";
  text += "  the amplifier sees " + format_quantity(tap.terminal_resistance, 3) +
          ", the input sees " + format_quantity(tap.source_resistance, 3) + "\n";
  text += "  its thermal noise is " + format_quantity(tap.noise_at_terminals, 2) +
          " at the terminals, 20 Hz to 20 kHz; the input's is usually more\n";
  return text;
}

std::string coupling_lines(const Tap& tap) {
  std::string text;
  if (tap.leg_corner) {
    text += "  the leg capacitors' corner is at " + format_quantity(*tap.leg_corner, 2) + "\n";
  }
  if (tap.output_corner) {
    text +=
        "  the output capacitor's corner is at " + format_quantity(*tap.output_corner, 2) + "\n";
  }
  if (tap.leg_corner || tap.output_corner) {
    text += "  together they attenuate 20 Hz by " + format_fixed(tap.loss_at_20_hz, 2) + "\n";
  }
  return text;
}

std::string bridge_cautions(const Tap& tap) {
  return "Bridge-tied\n"
         "  Neither terminal is ground: both sit near half the supply. Connecting either to the "
         "chassis, to\n"
         "  a cable's shield, to another channel or straight to the sleeve shorts an amplifier.\n"
         "  Put each resistor at the amplifier's end of its lead, insulated, so that a slipped "
         "lead is\n"
         "  harmless. The laptop runs from its battery with nothing else plugged in: no charger, "
         "screen,\n"
         "  network or USB lead to the vehicle. Else use an isolating transformer.\n"
         "  Should the sleeve touch the chassis, the resistors limit the current, and the reading "
         "changes by " +
         format_fixed(*tap.grounded_leg_change, 2, Sign::always) + ".\n";
}

constexpr const char* single_ended_cautions =
    "Single-ended\n"
    "  First make sure that the minus terminal is ground: with the radio on and nothing playing, "
    "DC volts\n"
    "  from either terminal to the chassis must be near 0 V. Near half the supply (6 to 7 V) "
    "means\n"
    "  bridge-tied: this tap would short the amplifier through the sleeve; use --bridge-tied.\n";

std::string headset_lines(const TapNeed& need) {
  return "Headset socket\n"
         "  Its contact carries " +
         format_quantity(*need.plug_in_power) +
         " DC, which the output capacitor keeps off the tap; use mono, contact and sleeve.\n"
         "  Switch off automatic gain, noise suppression and enhancement. A socket that does not "
         "detect\n"
         "  the plug may need 2.2 kohm from contact to sleeve, on the socket's side of the "
         "capacitor;\n"
         "  calibrate after adding it.\n";
}

}  // namespace

std::string attenuator_drawing(const TapNeed& need, const Tap& tap) {
  const std::string pad(leg_width, ' ');
  const std::string shunt = "[ " + format_quantity(tap.parts.shunt) + " ]";
  const std::string shunt_pad(leg_width - shunt.size() / 2, ' ');
  std::string tip = "----------";
  if (tap.parts.output_capacitor)
    tip = "||-- " + format_quantity(*tap.parts.output_capacitor) + " ---";
  tip = filled(tip, 18, '-');
  std::string text = "  " + leg_line("speaker +", tap, true) + tip + " tip (input)\n";
  text += "  " + pad + "|\n  " + shunt_pad + shunt + "\n  " + pad + "|\n";
  text += "  " + leg_line("speaker -", tap, need.bridge_tied) + filled("", tip.size(), '-') +
          " sleeve\n";
  return text;
}

std::string fault_text(TapFault fault) {
  switch (fault) {
    case TapFault::too_little_attenuation:
      return "the input overloads below the voltage and headroom asked for: use a larger series "
             "resistor "
             "or a smaller shunt";
    case TapFault::too_hot:
      return "a resistor takes more than half of its rating: use larger values or a higher rating";
    case TapFault::corner_too_high:
      return "the coupling tilts the tops of low tones: use a larger capacitor";
    case TapFault::loads_the_source:
      break;
  }
  return "the tap is less than 1 kohm between the terminals: use larger values";
}

std::string attenuator_text(const TapNeed& need, const Tap& tap) {
  std::string text = attenuator_drawing(need, tap) + "\n" + parts_lines(need, tap) +
                     level_lines(need, tap) + coupling_lines(tap);
  for (const TapFault fault : tap.faults) text += "  NOT GOOD: " + fault_text(fault) + "\n";
  text += need.bridge_tied ? bridge_cautions(tap) : single_ended_cautions;
  if (need.plug_in_power) text += headset_lines(need);
  return text;
}

// --- document ------------------------------------------------------------------------------------

namespace {

using system::json_number;

}  // namespace

Json attenuator_json(const TapNeed& need, const Tap& tap) {
  Json document;
  document.set("schema", "railtap.attenuator/1");
  document.set("bridge_tied", need.bridge_tied);
  document.set("series_each_ohm", tap.parts.series_each.value());
  document.set("shunt_ohm", tap.parts.shunt.value());
  document.set("leg_capacitor_f", json_number(tap.parts.leg_capacitor));
  document.set("output_capacitor_f", json_number(tap.parts.output_capacitor));
  document.set("input_resistance_ohm", json_number(need.input_resistance));
  document.set("gain_db", tap.gain.value());
  document.set("gain_unloaded_db", tap.gain_unloaded.value());
  document.set("gain_lowest_db", tap.gain_lowest.value());
  document.set("gain_highest_db", tap.gain_highest.value());
  document.set("full_scale_v", tap.full_scale.value());
  document.set("volts_per_full_scale", tap.full_scale_peak.value());
  document.set("headroom_db", tap.headroom.value());
  document.set("source_resistance_ohm", tap.source_resistance.value());
  document.set("terminal_resistance_ohm", tap.terminal_resistance.value());
  document.set("series_power_w", tap.series_power.value());
  document.set("shunt_power_w", tap.shunt_power.value());
  document.set("resistor_rating_w", need.resistor_rating.value());
  document.set("leg_corner_hz", json_number(tap.leg_corner));
  document.set("output_corner_hz", json_number(tap.output_corner));
  document.set("loss_at_20_hz_db", tap.loss_at_20_hz.value());
  document.set("noise_at_input_v", tap.noise_at_input.value());
  document.set("noise_at_terminals_v", tap.noise_at_terminals.value());
  document.set("grounded_leg_change_db", json_number(tap.grounded_leg_change));
  Json faults = Json::array();
  for (const TapFault fault : tap.faults) faults.push_back(fault_text(fault));
  document.set("faults", std::move(faults));
  return document;
}

// --- picture -------------------------------------------------------------------------------------

namespace {

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
