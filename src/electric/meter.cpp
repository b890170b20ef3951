// SPDX-License-Identifier: MIT
// What an AC voltmeter's reading is worth: its error band, its frequency band, and how it sees a
// waveform.
#include "electric/meter.hpp"

#include <algorithm>
#include <cmath>

#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::electric {
namespace {

/// The step of the last digit on the lowest decade range whose display shows the reading.
Volts step_of_display(int display_counts, Volts reading) {
  // The most sensitive AC range of a handheld ends at some 200 mV (common practice). log10 of a
  // power of ten may come out a hair above the whole number.
  constexpr double hair = 1e-9;
  const double lowest_range_end = std::max(0.2, reading.value());
  const double exponent = std::ceil(std::log10(lowest_range_end / display_counts) - hair);
  double step = std::pow(10.0, exponent);
  // The display ends one count below its size: 2.000 V is no longer shown on 1.999 V.
  if (reading.value() >= step * display_counts) step *= 10.0;
  return Volts(step);
}

std::optional<Volts> step_for(const Meter& meter, Volts reading, std::optional<Volts> typed) {
  if (meter.resolution) return meter.resolution;
  if (meter.display_counts) return step_of_display(*meter.display_counts, reading);
  return typed;
}

}  // namespace

ReadingBand reading_band(const Meter& meter, Volts reading, std::optional<Volts> typed) {
  require_not_negative(reading, "reading");
  const auto step = step_for(meter, reading, typed);
  if (!step && meter.counts > 0) {
    throw Error("the size of the meter's last digit is not known", "meter",
                "add it to the description, for example 0.01V or 2000 counts");
  }
  const Volts digit = step.value_or(Volts(0.0));
  const Volts uncertainty = reading * (meter.of_reading.value() / 100.0) + digit * meter.counts;
  const Volts low = std::max(Volts(0.0), reading - uncertainty);
  return {reading, uncertainty, low, reading + uncertainty, digit};
}

PowerBand power_band(const ReadingBand& band, Ohms load) {
  const double ohms = require_positive(load, "load").value();
  const auto power = [ohms](Volts volts) { return Watts(volts.value() * volts.value() / ohms); };
  return {power(band.reading), power(band.low), power(band.high)};
}

void require_in_band(const Meter& meter, Hertz tone, std::string_view name) {
  // A recorder's clock is off by a few hundredths of a percent, and no band ends as sharply as
  // that.
  constexpr double edge = 1.001;
  const std::string advice =
      "set the voltage with a tone of 50 to 100 Hz, which every meter's band holds, or describe a "
      "meter "
      "that is specified at " +
      format_quantity(tone);
  if (meter.highest_frequency && tone > *meter.highest_frequency * edge) {
    throw Error(
        "a tone of " + format_quantity(tone) + " is above this meter's band, which ends at " +
            format_quantity(*meter.highest_frequency) + ", so its reading says nothing certain",
        std::string(name), advice);
  }
  if (meter.lowest_frequency && tone * edge < *meter.lowest_frequency) {
    throw Error(
        "a tone of " + format_quantity(tone) + " is below this meter's band, which begins at " +
            format_quantity(*meter.lowest_frequency) + ", so its reading says nothing certain",
        std::string(name), advice);
  }
}

Volts true_rms_from_reading(const Meter& meter, Volts reading, double form_factor) {
  if (meter.type == MeterType::true_rms) return reading;
  // RMS >= rectified mean for every waveform; rounding may leave a square a hair below.
  if (!(form_factor >= 1.0 - 1e-9) || !std::isfinite(form_factor)) {
    throw Error("a form factor below 1 belongs to no waveform", "meter", "");
  }
  return reading * (form_factor / sine_form_factor);
}

}  // namespace railtap::electric
