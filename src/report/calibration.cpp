// SPDX-License-Identifier: MIT
// A calibration in words and as a document, and a sound interface's own figures for a person.
#include "report/calibration.hpp"

#include <array>
#include <optional>

#include "system/json.hpp"
#include "units/print.hpp"

namespace railtap::report {

// A calibration in words and as a document.

namespace {

using system::Json;
using system::json_number;

std::string nominal_line(const electric::NominalComparison& nominal) {
  std::string text = "  By calculation " + format_quantity(nominal.nominal, 4, Zeros::keep) +
                     " peak: found " + format_fixed(nominal.deviation, 2, Sign::always);
  return text +
         (nominal.plausible
              ? ", plausible.\n"
              : ". Too far off: check the resistors' values, the input's volume control, and that "
                "the tap and the meter are on the same terminals.\n");
}

std::string meter_line(const CalibrationDocument& document) {
  std::string text = "  Reading " + format_quantity(document.reading, 4, Zeros::keep);
  if (!document.meter) return text + "; describe the meter with --meter to learn the error.\n";
  text += ", meter " + electric::describe(*document.meter);
  const std::string correction = format_fixed(document.found.meter_correction, 3, Sign::always);
  // What rounds to nothing is not worth a word.
  if (correction != format_fixed(Decibels(0.0), 3, Sign::always)) {
    text += ", corrected by " + correction + " for the waveform";
  }
  return text + ".\n";
}

std::string coupling_line(const CalibrationDocument& document) {
  if (!document.coupling_corner) return "";
  return "  The interface's coupling, output and input in series, " +
         format_quantity(*document.coupling_corner, 3) + ", attenuates the tone by " +
         format_fixed(document.found.coupling_correction, 3) +
         "; corrected for. The input's own share is that or less.\n";
}

}  // namespace

std::string calibration_report(const CalibrationDocument& document) {
  std::string text = "Digital full scale is " +
                     format_quantity(document.found.volts_per_full_scale, 4, Zeros::keep) +
                     " peak, " + format_quantity(document.full_scale_rms, 4, Zeros::keep) +
                     " RMS of a sine";
  if (document.found.uncertainty) {
    text += ", \u00b1" + format_quantity(*document.found.uncertainty, 2);
  }
  const judge::CalibrationCapture& capture = document.capture;
  text += ".\n  Channel " + std::to_string(capture.channel) + ": " +
          format_quantity(capture.frequency, 5) + " at " + format_fixed(capture.level, 2) +
          ", THD+N " + format_quantity(capture.thdn, 2) + ", level within " +
          format_fixed(capture.level_spread, 3) + ".\n" + meter_line(document) +
          coupling_line(document);
  return document.nominal ? text + nominal_line(*document.nominal) : text;
}

Json calibration_json(const CalibrationDocument& document) {
  const judge::CalibrationCapture& capture = document.capture;
  Json json;
  json.set("schema", "railtap.calibration/1");
  json.set("volts_per_full_scale", json_number(document.found.volts_per_full_scale.value()));
  json.set("full_scale_sine_v", json_number(document.full_scale_rms.value()));
  json.set("uncertainty_percent", json_number(document.found.uncertainty));
  json.set("channel", capture.channel);
  json.set("frequency_hz", json_number(capture.frequency.value()));
  json.set("level_dbfs", json_number(capture.level.value()));
  json.set("thdn_percent", json_number(capture.thdn.value()));
  json.set("level_spread_db", json_number(capture.level_spread.value()));
  json.set("reading_v", json_number(document.reading.value()));
  json.set("true_rms_v", json_number(document.found.true_rms.value()));
  json.set("meter_correction_db", json_number(document.found.meter_correction.value()));
  json.set("coupling_corner_hz", json_number(document.coupling_corner));
  json.set("coupling_correction_db", json_number(document.found.coupling_correction.value()));
  json.set("nominal_volts_per_full_scale", nullptr);
  json.set("deviation_db", nullptr);
  json.set("plausible", nullptr);
  if (document.nominal) {
    json.set("nominal_volts_per_full_scale", json_number(document.nominal->nominal.value()));
    json.set("deviation_db", json_number(document.nominal->deviation.value()));
    json.set("plausible", document.nominal->plausible);
  }
  json.set("warnings", document.warnings);
  return json;
}

// A sound interface's own figures, for a person.

namespace {

template <class Q>
std::string known(const std::optional<Q>& quantity, int digits) {
  return quantity ? format_fixed(*quantity, digits) : "too low to be known";
}

std::string response_line(const electric::SoundInterface& interface) {
  constexpr std::array<double, 6> listed_hz{10.0, 20.0, 50.0, 100.0, 10000.0, 18000.0};
  if (interface.response.empty()) return "  Response: the sweep is not above the noise.\n";
  std::string text = "  Response re 1 kHz:";
  for (const double hz : listed_hz) {
    text += (hz == listed_hz.front() ? " " : ", ") +
            format_fixed(*electric::response_at(interface, Hertz(hz)), 2, Sign::always) + " at " +
            format_quantity(Hertz(hz), 3);
  }
  return text + ".\n";
}

std::string corner_line(const electric::SoundInterface& interface) {
  if (!interface.coupling_corner) return "  Coupling: no corner within the sweep's range.\n";
  return "  Coupling: corner " + format_quantity(*interface.coupling_corner, 3) +
         " of output and input in series; attenuates 50 Hz by " +
         format_fixed(electric::coupling_loss(*interface.coupling_corner, Hertz(50.0)), 3) +
         ".\n"
         "  The input's own corner is that or lower: a loop cannot tell one from the other.\n";
}

}  // namespace

std::string loopback_report(const electric::SoundInterface& interface) {
  std::string text = "The sound interface by itself, output to input";
  if (!interface.device.empty()) text += ", '" + interface.device + "'";
  text += ", " + format_quantity(interface.rate, 6) + ":\n";
  if (interface.thdn && interface.level) {
    text += "  THD+N " + format_quantity(*interface.thdn, 3) + " of a tone at " +
            format_fixed(*interface.level, 2) + ".\n";
  }
  text += "  Noise " + known(interface.noise, 1) + ", A-weighted " + known(interface.noise_a, 1) +
          ".\n" + response_line(interface) + corner_line(interface);
  return text +
         "  No smaller distortion or noise is claimed where this file is given with --interface.\n";
}

}  // namespace railtap::report
