// SPDX-License-Identifier: MIT
// `railtap attenuator`: the resistors between speaker terminals and a recording input.
#include <iostream>
#include <memory>
#include <string>

#include "command/command.hpp"
#include "electric/attenuator.hpp"
#include "files/atomic_file.hpp"
#include "report/attenuator.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::command {
namespace {

// What inputs usually have (common practice); the calibration takes up what they really have.
constexpr Ohms line_input{10000.0};
constexpr Ohms microphone_input{2200.0};

struct AttenuatorOptions {
  std::optional<Volts> max_voltage, input_full_scale;
  std::optional<Ohms> series_resistor, shunt_resistor;
  electric::TapNeed need;
  std::string series = "E24", svg;
  bool json = false, force = false;
};

void add_need_options(Command& command, AttenuatorOptions& options) {
  auto& need = options.need;
  command.quantity("--max-voltage", options.max_voltage,
                   "Largest RMS voltage between the terminals, e.g. the target");
  command.quantity("--input-full-scale", options.input_full_scale,
                   "RMS voltage of a sine at the input's full scale");
  command.flag("--bridge-tied", need.bridge_tied,
               "Neither terminal is ground: resistor and capacitor in both legs");
  command.quantity("--input-resistance", need.input_resistance,
                   "Of the recording input; 10 kohm, or 2.2 kohm with --plug-in-power");
  command.quantity("--plug-in-power", need.plug_in_power,
                   "DC on a headset socket's contact, to be blocked");
  command.quantity("--headroom", need.headroom, "Headroom above the largest voltage");
}

void add_part_options(Command& command, AttenuatorOptions& options) {
  auto& need = options.need;
  command.text("--series", options.series, "Preferred values to choose from: E12, E24, E96")
      .called("SERIES")
      .defaulting_to(options.series);
  command.quantity("--series-resistor", options.series_resistor,
                   "Check these parts instead: the resistor in each leg");
  command.quantity("--shunt-resistor", options.shunt_resistor, "and the one across the input");
  command.quantity("--capacitor", need.capacitor, "The blocking capacitors that are used");
  command.quantity("--highest-corner", need.highest_corner,
                   "Highest corner frequency of the coupling");
  command.quantity("--resistor-rating", need.resistor_rating, "Power rating of a resistor");
  command.quantity("--resistor-tolerance", need.resistor_tolerance, "Tolerance of a resistor");
}

void add_output_options(Command& command, AttenuatorOptions& options) {
  command.text("--svg", options.svg, "Write the wiring as a picture to this file").called("FILE");
  command.flag("--force", options.force, "Overwrite the picture if it exists");
  command.flag("--json", options.json, "Print one JSON document (railtap.attenuator/1)");
}

electric::TapNeed need_of(const AttenuatorOptions& options) {
  if (!options.max_voltage || !options.input_full_scale) {
    throw Error("the largest voltage and the input's full scale are needed",
                options.max_voltage ? "--input-full-scale" : "--max-voltage",
                "for example: railtap attenuator --max-voltage 14.8V --input-full-scale 1V");
  }
  electric::TapNeed need = options.need;
  need.max_voltage = require_positive(*options.max_voltage, "--max-voltage");
  need.input_full_scale = require_positive(*options.input_full_scale, "--input-full-scale");
  require_not_negative(need.headroom, "--headroom");
  if (need.plug_in_power) require_positive(*need.plug_in_power, "--plug-in-power");
  if (!need.input_resistance) {
    need.input_resistance = need.plug_in_power ? microphone_input : line_input;
  }
  require_positive(*need.input_resistance, "--input-resistance");
  need.series = electric::parse_series(options.series, "--series");
  return need;
}

electric::TapParts parts_of(const AttenuatorOptions& options, const electric::TapNeed& need) {
  if (!options.series_resistor && !options.shunt_resistor) return electric::choose_parts(need);
  if (!options.series_resistor || !options.shunt_resistor) {
    throw Error("one resistor alone is not a tap",
                options.series_resistor ? "--shunt-resistor" : "--series-resistor", "give both");
  }
  return electric::with_capacitors(need,
                                   {require_positive(*options.series_resistor, "--series-resistor"),
                                    require_positive(*options.shunt_resistor, "--shunt-resistor"),
                                    {},
                                    {}});
}

ExitStatus run(const AttenuatorOptions& options) {
  const electric::TapNeed need = need_of(options);
  const electric::Tap tap = electric::evaluate(need, parts_of(options, need));
  if (!options.svg.empty()) {
    files::write_file(options.svg, report::attenuator_svg(need, tap),
                      options.force ? files::Overwrite::allow : files::Overwrite::refuse);
    std::cerr << "wrote " << options.svg << '\n';
  }
  std::cout << (options.json ? report::attenuator_json(need, tap).page()
                             : report::attenuator_text(need, tap));
  return tap.faults.empty() ? ExitStatus::within_limits : ExitStatus::outside_limits;
}

}  // namespace

Command attenuator_command() {
  Command command("attenuator", "The resistors between speaker terminals and a recording input");
  auto options = std::make_shared<AttenuatorOptions>();
  add_need_options(command, *options);
  add_part_options(command, *options);
  add_output_options(command, *options);
  command.footer =
      "Example:\n"
      "  railtap attenuator --max-voltage 14.8V --input-full-scale 1V --bridge-tied\n"
      "Exit status: 0 when the tap is suitable, 1 when the given parts are not.";
  command.run = [options] { return run(*options); };
  return command;
}

}  // namespace railtap::command
