// SPDX-License-Identifier: MIT
// What an AC voltmeter's reading means: its error band, its frequency band, and how it responds to
// a waveform, a sine cut flat among them.
#include "electric/meter.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "units/error.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace railtap::electric {

// What a sine becomes when both its tops are cut flat: distortion, power, and what meters make of
// it.

HardClip hard_clip(Decibels overdrive) {
  using std::numbers::pi;
  // Beyond 200 dB the waveform is a square to the last digit of a double.
  require_within(overdrive, Decibels(0.0), Decibels(200.0), "overdrive");
  const double c = amplitude_ratio(-overdrive);
  const double t = std::asin(c);
  const double cosine = std::sqrt((1.0 - c) * (1.0 + c));  // of t
  const double b1 = 2.0 / pi * (t + c * cosine);
  const double mean_square = (t - c * cosine) / pi + c * c * (1.0 - 2.0 * t / pi);
  const double mean_abs = 2.0 / pi * (1.0 - cosine + c * (pi / 2.0 - t));
  // Rounding may leave a tiny negative number at the onset.
  const double harmonics = std::max(0.0, 2.0 * mean_square - b1 * b1);
  const double onset_mean_square = c * c / 2.0;  // a sine that just touches the rail
  return {c,
          b1,
          mean_square,
          mean_abs,
          Percent(100.0 * std::sqrt(harmonics) / b1),
          mean_square / onset_mean_square};
}

// What an AC voltmeter's reading means, and its description read and written.

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

namespace {

constexpr std::string_view example = "\"1.2%+5, 0.01V, average, 400Hz\"";
// A voltmeter worse than this measures nothing; more is a typing mistake.
constexpr double most_percent = 50.0;
constexpr int most_counts = 1000;

[[noreturn]] void fail(const std::string& problem, std::string_view name) {
  throw Error(problem, std::string(name), "describe the meter like " + std::string(example));
}

std::string lowered(std::string_view text) {
  std::string result;
  for (const char c : text) {
    result += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  }
  return result;
}

void erase_all(std::string& text, std::string_view piece) {
  for (auto at = text.find(piece); at != std::string::npos; at = text.find(piece)) {
    text.erase(at, piece.size());
  }
}

/// Lower case, without the blanks, brackets and signs that carry no meaning here.
std::string bare(std::string_view text) {
  std::string result = lowered(text);
  for (const auto* piece : {" ", "\t", "\u00a0", "(", ")", "\u00b1", "+/-", "+-"}) {
    erase_all(result, piece);
  }
  return result;
}

std::vector<std::string> parts_of(std::string_view text) {
  std::vector<std::string> parts;
  while (true) {
    const auto comma = text.find(',');
    parts.push_back(bare(text.substr(0, comma)));
    if (comma == std::string_view::npos) return parts;
    text.remove_prefix(comma + 1);
  }
}

bool ends_with_any(const std::string& text, std::initializer_list<std::string_view> ends) {
  return std::any_of(ends.begin(), ends.end(),
                     [&](std::string_view end) { return text.ends_with(end); });
}

int whole_number(std::string_view digits, int most, const std::string& part,
                 std::string_view name) {
  int number = 0;
  const auto result = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  if (result.ec != std::errc() || result.ptr != digits.data() + digits.size() || number < 0 ||
      number > most) {
    fail("\"" + part + "\" has no whole number up to " + std::to_string(most), name);
  }
  return number;
}

void read_accuracy(Meter& meter, const std::string& part, std::string_view name) {
  const auto sign = part.find('%');
  const auto percent = parse_quantity<Percent>(part.substr(0, sign + 1), name);
  meter.of_reading = require_within(percent, Percent(0.0), Percent(most_percent), name);
  std::string rest = part.substr(sign + 1);
  for (const auto* word :
       {"ofreading", "reading", "rdg", "counts", "count", "digits", "digit", "dgts", "dgt"}) {
    erase_all(rest, word);
  }
  if (rest.empty()) return;
  if (rest.front() != '+') fail("\"" + part + "\" is not an accuracy", name);
  meter.counts = whole_number(std::string_view(rest).substr(1), most_counts, part, name);
}

void read_band(Meter& meter, const std::string& part, std::string_view name) {
  std::string text = part;
  for (const std::string_view dash : {"\u2013", "..", "to"}) {
    const auto at = text.find(dash);
    if (at != std::string::npos) text.replace(at, dash.size(), "-");
  }
  if (text.starts_with("-")) text.erase(0, 1);  // "to 400 Hz"
  const auto dash = text.find('-');
  const std::string high = dash == std::string::npos ? text : text.substr(dash + 1);
  meter.highest_frequency = require_positive(parse_quantity<Hertz>(high, name), name);
  if (dash == std::string::npos) return;
  meter.lowest_frequency =
      require_not_negative(parse_quantity<Hertz>(text.substr(0, dash), name), name);
  if (*meter.lowest_frequency >= *meter.highest_frequency) {
    fail("\"" + part + "\" ends below where it begins", name);
  }
}

void read_part(Meter& meter, bool& has_accuracy, const std::string& part, std::string_view name) {
  // A display shows at least 200 steps, and bench meters no more than some millions (common
  // practice).
  constexpr int most_display = 10'000'000;
  if (part.find('%') != std::string::npos) {
    read_accuracy(meter, part, name);
    has_accuracy = true;
  } else if (part.starts_with("average") && part.ends_with("assumed")) {
    meter.type = MeterType::average_responding;
    meter.type_assumed = true;
  } else if (part == "average" || part == "averageresponding" || part == "average-responding") {
    meter.type = MeterType::average_responding;
    meter.type_assumed = false;
  } else if (part == "true-rms" || part == "truerms" || part == "trms" || part == "rms") {
    meter.type = MeterType::true_rms;
    meter.type_assumed = false;
  } else if (ends_with_any(part, {"counts", "count"})) {
    const int counts = whole_number(part.substr(0, part.find('c')), most_display, part, name);
    if (counts < 200) fail("\"" + part + "\" is too small for a display", name);
    meter.display_counts = counts;
  } else if (ends_with_any(part, {"hz"})) {
    read_band(meter, part, name);
  } else if (ends_with_any(part, {"v"})) {
    std::string volts = part;
    erase_all(volts, "lastdigit");
    meter.resolution = require_positive(parse_quantity<Volts>(volts, name), name);
  } else {
    fail("\"" + part + "\" is not part of a meter's description", name);
  }
}

}  // namespace

Meter parse_meter(std::string_view text, std::string_view name) {
  Meter meter;
  bool has_accuracy = false;
  for (const std::string& part : parts_of(text)) read_part(meter, has_accuracy, part, name);
  if (!has_accuracy) fail("the meter's accuracy is missing", name);
  return meter;
}

std::string describe(const Meter& meter) {
  std::string text = "\u00b1(" + format_quantity(meter.of_reading);
  if (meter.counts > 0) text += " + " + std::to_string(meter.counts);
  text += ")";
  if (meter.resolution) text += ", last digit " + format_quantity(*meter.resolution);
  if (meter.display_counts) text += ", " + std::to_string(*meter.display_counts) + " counts";
  text += meter.type == MeterType::true_rms ? ", true-RMS" : ", average-responding";
  if (meter.type_assumed) text += " (assumed)";
  if (meter.highest_frequency) {
    text += ", ";
    if (meter.lowest_frequency) text += format_quantity(*meter.lowest_frequency) + " ";
    text += "to " + format_quantity(*meter.highest_frequency);
  }
  return text;
}

std::vector<std::string> assumptions(const Meter& meter) {
  std::vector<std::string> taken;
  if (meter.type_assumed) taken.emplace_back("it is average-responding");
  if (meter.counts == 0) taken.emplace_back("its display adds no error (no counts are given)");
  if (!meter.highest_frequency) taken.emplace_back("its accuracy holds at every frequency");
  return taken;
}

Volts last_digit(std::string_view typed, std::string_view name) {
  (void)parse_quantity<Volts>(typed, name);
  if (lowered(typed).find("dc") != std::string::npos) {
    throw Error("\"" + std::string(typed) + "\" is DC, and a tone is AC", std::string(name),
                "switch the meter to AC volts and read again");
  }
  std::string step(typed);
  const auto first = step.find_first_of("0123456789");
  const auto end = std::min(step.find_first_not_of("0123456789.", first), step.size());
  const auto last = step.find_last_of("0123456789", end - 1);
  for (auto at = first; at < end; ++at) {
    if (step[at] != '.') step[at] = at == last ? '1' : '0';
  }
  return parse_quantity<Volts>(step.substr(first), name);
}

}  // namespace railtap::electric
