// SPDX-License-Identifier: MIT
// The tap in words, with its wiring drawn in letters.
#include "report/attenuator_text.hpp"

#include <algorithm>

#include "units/print.hpp"

namespace railtap::report {
namespace {

using namespace electric;

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
  text += "  its own noise is " + format_quantity(tap.noise_at_terminals, 2) +
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
    text += "  together they take " + format_fixed(tap.loss_at_20_hz, 2) + " at 20 Hz\n";
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
         "  Should the sleeve touch the chassis, the resistors hold and the reading changes by " +
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
         "notice\n"
         "  the plug may want 2.2 kohm from contact to sleeve, on the socket's side of the "
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

}  // namespace railtap::report
