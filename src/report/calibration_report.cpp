// SPDX-License-Identifier: MIT
// A calibration in words and as a document.
#include "report/calibration_report.hpp"

#include "system/json.hpp"
#include "units/print.hpp"

namespace railtap::report {
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
         format_quantity(*document.coupling_corner, 3) + ", takes " +
         format_fixed(document.found.coupling_correction, 3) +
         " from the tone; put back. The input's own share is that or less.\n";
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

}  // namespace railtap::report
