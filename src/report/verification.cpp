// SPDX-License-Identifier: MIT
// The verification for a person: verdict first, then each channel with a plot of its response.
#include "report/verification.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iomanip>
#include <sstream>

#include "report/words.hpp"
#include "system/json.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {
namespace {

using judge::ChannelVerification;
using judge::Finding;
using judge::Severity;

const char* mark(Severity severity) {
  switch (severity) {
    case Severity::fault:
      return "FAULT    ";
    case Severity::caution:
      return "caution  ";
    case Severity::note:
      return "ok       ";
  }
  return "";
}

void add_findings(std::ostream& out, const std::vector<Finding>& findings) {
  for (const Severity severity : {Severity::fault, Severity::caution, Severity::note}) {
    for (const Finding& f : findings) {
      if (f.severity == severity) out << "  " << mark(severity) << visible(f.text) << '\n';
    }
  }
}

void add_line(std::ostream& out, const std::string& label, const std::string& text) {
  out << "    " << std::left << std::setw(14) << label << text << '\n';
}

// --- plot ----------------------------------------------------------------------------------------

constexpr int plot_rows = 9;
constexpr double plot_high_db = 15.0, row_db = 5.0;
constexpr double plot_low_hz = 20.0, columns_per_octave = 6.0;
constexpr std::size_t plot_columns = 61;

// Levels re the flat part, a column each sixth of an octave; none where nothing was measured.
std::vector<std::optional<double>> columns_of(const ChannelVerification& channel) {
  std::vector<std::optional<double>> columns(plot_columns);
  for (const auto& p : channel.response) {
    const double place = columns_per_octave * std::log2(p.frequency.value() / plot_low_hz);
    const double column = std::round(place);
    if (column < 0.0 || column >= static_cast<double>(plot_columns)) continue;
    if (std::abs(place - column) < 0.2)
      columns[static_cast<std::size_t>(column)] = (p.magnitude - channel.filters->level).value();
  }
  return columns;
}

void add_plot(std::ostream& out, const ChannelVerification& channel) {
  const auto columns = columns_of(channel);
  for (int row = 0; row < plot_rows; ++row) {
    const double middle = plot_high_db - row_db * row;
    out << std::right << std::setw(8) << std::showpos << static_cast<int>(middle) << std::noshowpos
        << (row == 0 ? " dB │" : "    │");
    for (const auto& level : columns) {
      const bool here = level && std::abs(*level - middle) <= row_db / 2.0;
      out << (here ? "●" : (middle == 0.0 ? "·" : " "));
    }
    out << '\n';
  }
  out << "            └";
  for (std::size_t k = 0; k < plot_columns; ++k) out << "─";
  // Where 100 Hz, 1 kHz and 10 kHz are: 13.9, 33.9 and 53.8 sixths of an octave above 20 Hz.
  out << "\n             20 Hz         100                1k                  10k\n";
}

// --- channel
// ---------------------------------------------------------------------------------------

std::string response_line(const judge::ResponseFindings& found) {
  if (!found.low_3db && !found.high_3db) return "nowhere 3 dB down within the sweep";
  std::string text = "3 dB down at ";
  if (found.low_3db) text += format_quantity(*found.low_3db, 3);
  if (found.low_3db && found.high_3db) text += " and ";
  if (found.high_3db) text += format_quantity(*found.high_3db, 3);
  return text;
}

std::string interface_line(const measure::ResponsePoint& part) {
  return "the interface's own taken out, at most " + format_fixed(part.magnitude, 2, Sign::always) +
         " at " + format_quantity(part.frequency, 3);
}

std::string in_volts(const std::optional<Volts>& volts) {
  return volts ? format_quantity(*volts, 3) + ", " : "";
}

void add_silence(std::ostream& out, const judge::SilenceFindings& silence) {
  if (!silence.hiss_a) return;
  std::string text = in_volts(silence.hiss_a_v) + format_fixed(*silence.hiss_a, 1) + " A-weighted";
  if (silence.interface_bound) text += " (mostly the interface's own)";
  if (silence.hiss_re_programme)
    text += ", " + format_fixed(*silence.hiss_re_programme, 0) + " re full programme";
  add_line(out, "hiss", text);
  if (silence.hiss_sound_level) {
    add_line(out, "", format_fixed(*silence.hiss_sound_level, 0) + "(A) at 1 m");
  }
  constexpr std::size_t most_lines = 6;
  for (std::size_t k = 0; k < std::min(most_lines, silence.lines.size()); ++k) {
    const judge::SilenceLine& line = silence.lines[k];
    std::string what = format_quantity(line.frequency, 4) + ", " + in_volts(line.level_v) +
                       format_fixed(line.level, 1);
    if (line.re_programme)
      what += ", " + format_fixed(*line.re_programme, 0) + " re full programme";
    add_line(out, line.kind, what);
  }
}

std::string right(const std::string& text, std::size_t width) {
  return std::string(width - std::min(width, text.size()), ' ') + text;
}

template <class Quantity>
std::string or_dash(const std::optional<Quantity>& value, int decimals, Sign sign) {
  return value ? format_fixed(*value, decimals, sign) : "-";
}

// Level, level re where no filter acts, THD+N and verdict of each tone.
void add_tone(std::ostream& out, const judge::SteadyTone& tone, const std::string& label) {
  const judge::Findings& f = tone.findings;
  const std::string level = f.level_v ? format_quantity(*f.level_v, 3, Zeros::keep)
                                      : or_dash(f.level, 1, Sign::minus_only);
  add_line(out, label,
           right(format_quantity(tone.played, 3), 8) + right(level, 12) +
               right(or_dash(tone.relative, 1, Sign::always), 10) + "  THD+N" +
               right(f.thdn ? format_quantity(*f.thdn, 2, Zeros::keep) : "-", 9) + "  " +
               judge::name(f.verdict));
}

void add_steady_tones(std::ostream& out, const judge::SteadyTones& found) {
  if (!found.reference) return;
  const char* label = "steady tones";
  for (const auto& tone : found.tones) {
    add_tone(out, tone, label);
    label = "";
  }
  if (found.re_sweep && found.most_off) {
    add_line(out, "",
             format_fixed(*found.re_sweep, 2, Sign::always) + " against the sweep, at " +
                 format_quantity(found.most_off->frequency, 3) + " " +
                 format_fixed(found.most_off->magnitude, 2, Sign::always) + " more");
  }
}

// "front right  (front.wav): WIRING"; a channel without a name is a number.
std::string heading(const ChannelVerification& channel) {
  const std::string text =
      channel_heading(channel.name, channel.channel) + "  (" + channel.file + ")";
  return channel.verdict() == judge::ChannelVerdict::wiring ? text + ": WIRING" : text;
}

void add_channel(std::ostream& out, const ChannelVerification& channel) {
  out << '\n' << heading(channel) << '\n';
  add_findings(out, channel.findings);
  if (channel.identity) add_line(out, "side", channel.identity->reason);
  if (channel.polarity) add_line(out, "polarity", channel.polarity->reason);
  if (channel.filters) {
    add_line(out, "response", response_line(*channel.filters));
    for (const auto& words : judge::in_words(channel.filters->filters)) add_line(out, "", words);
    if (channel.interface_part) add_line(out, "", interface_line(*channel.interface_part));
  }
  if (channel.distortion) {
    add_line(out, "distortion",
             "at most " + format_quantity(channel.distortion->thd, 2) + ", at " +
                 format_quantity(channel.distortion->frequency, 3));
  }
  if (channel.steady_tones) add_steady_tones(out, *channel.steady_tones);
  if (channel.silence) add_silence(out, *channel.silence);
  if (channel.filters) add_plot(out, channel);
}

void add_pair(std::ostream& out, const judge::Verification& verification) {
  const judge::PairVerification& pair = *verification.pair;
  const ChannelVerification& first = verification.channels[0];
  const ChannelVerification& second = verification.channels[1];
  const bool named = !first.name.empty() && !second.name.empty();
  const auto word = [&](const ChannelVerification& channel) {
    return named ? visible(channel.name) : std::to_string(channel.channel);
  };
  out << (named ? "\n" : "\nChannels ") << word(first) << " and " << word(second) << '\n';
  add_findings(out, pair.findings);
  if (pair.match) {
    add_line(out, "match",
             (named ? word(second) : "second") + " " + format_fixed(*pair.match, 2, Sign::always) +
                 " re " + (named ? word(first) : "the first"));
  }
  for (const auto& c : pair.crosstalk) {
    const bool onwards = c.from == first.channel;
    add_line(out, "crosstalk",
             word(onwards ? first : second) + " into " + word(onwards ? second : first) + ": " +
                 (c.below ? "below " : "") + format_fixed(c.level, 1));
  }
}

void add_file(std::ostream& out, const VerifiedFile& file) {
  out << visible(file.name) << ": ";
  if (file.parts.empty()) out << "silence throughout, no marker";
  const char* separator = "";
  for (const VerifiedPart& part : file.parts) {
    if (!part.used) continue;
    out << separator << part.kind << " at " << format_fixed(part.start, 1);
    separator = ", ";
  }
  if (file.clock_error)
    out << "; clock " << format_fixed(Percent(std::abs(file.clock_error->value())), 3)
        << (file.clock_error->value() < 0.0 ? " fast" : " slow");
  out << '\n';
}

}  // namespace

std::string verification_text(const VerificationDocument& document) {
  std::ostringstream out;
  const judge::Verification& verification = document.verification;
  const bool good = verification.within_limits();
  out << (good ? "GOOD: no fault found.\n" : "CHECK: see below.\n");
  for (const VerifiedFile& file : document.files) add_file(out, file);
  if (!verification.findings.empty()) out << '\n';
  add_findings(out, verification.findings);
  if (verification.pair) add_pair(out, verification);
  for (const auto& channel : verification.channels) add_channel(out, channel);
  return out.str();
}

// The verification document in JSON.

namespace {

using system::Json;
using system::json_number;

Json findings_json(const std::vector<judge::Finding>& findings) {
  Json list = Json::array();
  for (const auto& f : findings)
    list.push_back({{"severity", judge::name(f.severity)}, {"text", f.text}});
  return list;
}

Json file_json(const VerifiedFile& file) {
  Json parts = Json::array();
  for (const VerifiedPart& part : file.parts) {
    parts.push_back({{"kind", part.kind},
                     {"marker", part.band},
                     {"start_s", json_number(part.start.value())},
                     {"end_s", json_number(part.end.value())},
                     {"whole", part.whole},
                     {"used", part.used}});
  }
  const double rate = file.format.rate.value();
  return {{"name", file.name},
          {"sample_rate_hz", rate},
          {"channels", file.format.channels},
          {"duration_s", static_cast<double>(file.frames) / rate},
          {"encoding", file.format.encoding},
          {"clock_error_percent", json_number(file.clock_error)},
          {"parts", std::move(parts)}};
}

Json identity_json(const std::optional<judge::ChannelIdentity>& identity) {
  if (!identity) return nullptr;
  return {{"carries", judge::name(identity->carries)},
          {"reason", identity->reason},
          {"left_dbfs", json_number(identity->left)},
          {"right_dbfs", json_number(identity->right)},
          {"separation_db", json_number(identity->separation)},
          {"separation_at_least", identity->separation_at_least}};
}

Json polarity_json(const std::optional<judge::PolarityVerdict>& polarity) {
  if (!polarity) return nullptr;
  return {{"verdict", judge::name(polarity->polarity)},
          {"reason", polarity->reason},
          {"margin_percent", json_number(100.0 * polarity->margin)}};
}

Json filter_json(const judge::Filter& f) {
  const bool pass = f.kind == judge::FilterKind::high_pass || f.kind == judge::FilterKind::low_pass;
  constexpr int slope_per_order_db = 6;
  return {{"kind", judge::name(f.kind)},
          {"family", pass ? Json(judge::name(f.family)) : Json(nullptr)},
          {"slope_db_per_octave", pass ? Json(slope_per_order_db * f.order) : Json(nullptr)},
          {"frequency_hz", json_number(f.frequency.value())},
          {"gain_db", pass ? Json(nullptr) : json_number(f.gain.value())},
          {"q", f.kind == judge::FilterKind::peaking ? json_number(f.q) : Json(nullptr)},
          {"words", judge::in_words(f)}};
}

Json filters_json(const std::vector<judge::Filter>& filters) {
  Json list = Json::array();
  for (const auto& f : filters) list.push_back(filter_json(f));
  return list;
}

Json interface_json(const std::optional<measure::ResponsePoint>& part) {
  if (!part) return nullptr;
  return {{"frequency_hz", json_number(part->frequency.value())},
          {"magnitude_db", json_number(part->magnitude.value())}};
}

Json points_json(const std::vector<measure::ResponsePoint>& points) {
  Json list = Json::array();
  for (const auto& p : points) {
    list.push_back({{"frequency_hz", json_number(p.frequency.value())},
                    {"magnitude_db", json_number(p.magnitude.value())},
                    {"phase_deg", json_number(p.phase_deg)},
                    {"uncertainty_db", json_number(p.uncertainty.value())}});
  }
  return list;
}

Json response_json(const judge::ChannelVerification& channel) {
  if (!channel.filters) return nullptr;
  const judge::ResponseFindings& found = *channel.filters;
  Json words = Json::array();
  for (const auto& text : judge::in_words(found.filters)) words.push_back(text);
  Json distortion = nullptr;
  if (channel.distortion) {
    distortion = {{"frequency_hz", json_number(channel.distortion->frequency.value())},
                  {"thd_percent", json_number(channel.distortion->thd.value())}};
  }
  return {{"level_db", json_number(found.level.value())},
          {"low_3db_hz", json_number(found.low_3db)},
          {"high_3db_hz", json_number(found.high_3db)},
          {"highest_db", json_number(found.highest.value())},
          {"lowest_db", json_number(found.lowest.value())},
          {"misfit_db", json_number(found.misfit.value())},
          {"filters", filters_json(found.filters)},
          {"coupling", filters_json(found.coupling)},
          {"words", std::move(words)},
          {"distortion", std::move(distortion)},
          {"interface_taken_out", interface_json(channel.interface_part)},
          {"points", points_json(channel.response)}};
}

Json tone_json(const judge::SteadyTone& tone) {
  const judge::Findings& f = tone.findings;
  return {{"played_hz", json_number(tone.played.value())},
          {"frequency_hz", json_number(f.frequency)},
          {"verdict", judge::name(f.verdict)},
          {"level_dbfs", json_number(f.level)},
          {"level_v", json_number(f.level_v)},
          {"response_db", json_number(tone.response)},
          {"relative_db", json_number(tone.relative)},
          {"re_sweep_db", json_number(tone.re_sweep)},
          {"thdn_percent", json_number(f.thdn)},
          {"thd_percent", json_number(f.thd)},
          {"overdrive_positive_db", json_number(f.flat_top.overdrive_positive)},
          {"overdrive_negative_db", json_number(f.flat_top.overdrive_negative)}};
}

Json steady_tones_json(const std::optional<judge::SteadyTones>& found) {
  if (!found) return nullptr;
  Json tones = Json::array(), filters = Json::array(), words = Json::array();
  for (const auto& tone : found->tones) tones.push_back(tone_json(tone));
  if (found->filters) {
    filters = filters_json(found->filters->filters);
    for (const auto& text : judge::in_words(found->filters->filters)) words.push_back(text);
  }
  return {{"played_dbfs", json_number(found->level.value())},
          {"reference_db", json_number(found->reference)},
          {"re_sweep_db", json_number(found->re_sweep)},
          {"filters", std::move(filters)},
          {"words", std::move(words)},
          {"interface_taken_out", interface_json(found->interface_part)},
          {"tones", std::move(tones)}};
}

Json silence_json(const std::optional<judge::SilenceFindings>& silence) {
  if (!silence) return nullptr;
  Json lines = Json::array();
  for (const auto& line : silence->lines) {
    lines.push_back({{"frequency_hz", json_number(line.frequency.value())},
                     {"kind", line.kind},
                     {"level_dbfs", json_number(line.level.value())},
                     {"level_v", json_number(line.level_v)},
                     {"re_programme_db", json_number(line.re_programme)}});
  }
  return {{"length_s", json_number(silence->length.value())},
          {"hiss_dbfs", json_number(silence->hiss)},
          {"hiss_v", json_number(silence->hiss_v)},
          {"hiss_a_dbfs", json_number(silence->hiss_a)},
          {"hiss_a_v", json_number(silence->hiss_a_v)},
          {"whole_a_dbfs", json_number(silence->whole_a)},
          {"whole_a_v", json_number(silence->whole_a_v)},
          {"hiss_sound_level_dba", json_number(silence->hiss_sound_level)},
          {"hiss_re_programme_db", json_number(silence->hiss_re_programme)},
          {"interface_bound", silence->interface_bound},
          {"lines", std::move(lines)}};
}

Json channel_json(const judge::ChannelVerification& channel) {
  return {{"channel", channel.channel},
          {"file", channel.file},
          {"name", name_json(channel.name)},
          {"verdict", judge::name(channel.verdict())},
          {"expected", channel.expected ? Json(judge::name(*channel.expected)) : Json(nullptr)},
          {"identity", identity_json(channel.identity)},
          {"polarity", polarity_json(channel.polarity)},
          {"response", response_json(channel)},
          {"steady_tones", steady_tones_json(channel.steady_tones)},
          {"silence", silence_json(channel.silence)},
          {"findings", findings_json(channel.findings)}};
}

Json pair_json(const std::optional<judge::PairVerification>& pair) {
  if (!pair) return nullptr;
  Json crosstalk = Json::array();
  for (const auto& c : pair->crosstalk) {
    crosstalk.push_back({{"from_channel", c.from},
                         {"into_channel", c.into},
                         {"level_db", json_number(c.level.value())},
                         {"below", c.below}});
  }
  return {{"match_db", json_number(pair->match)},
          {"crosstalk", std::move(crosstalk)},
          {"findings", findings_json(pair->findings)}};
}

Json limits_json(const VerificationDocument& document) {
  const judge::VerificationLimits& limits = document.limits;
  return {{"match_db", limits.match.value()},
          {"crosstalk_db", -limits.separation.value()},
          {"flatness_db", limits.flatness.value()},
          {"quiet_cabin_dba", limits.quiet_cabin.value()},
          {"interference_db", limits.interference.value()},
          {"distortion_percent", limits.distortion.value()},
          {"agreement_db", limits.agreement.value()},
          {"filters_allowed", limits.filters_allowed}};
}

}  // namespace

Json verification_json(const VerificationDocument& document, std::optional<std::size_t> only) {
  const judge::VerificationLimits& limits = document.limits;
  Json json = {{"schema", "railtap.verification/1"}};
  Json files = Json::array(), channels = Json::array();
  for (const VerifiedFile& file : document.files) files.push_back(file_json(file));
  const auto& verified = document.verification.channels;
  for (std::size_t i = 0; i < verified.size(); ++i) {
    if (!only || i == *only) channels.push_back(channel_json(verified[i]));
  }
  json.set("verdict", document.verification.within_limits() ? "good" : "look-again");
  json.set("files", std::move(files));
  json.set("volts_per_full_scale", json_number(limits.volts_per_full_scale));
  json.set("speaker_sensitivity_db", json_number(limits.sensitivity));
  json.set("gain_position_percent",
           limits.gain_position ? json_number(100.0 * *limits.gain_position) : Json(nullptr));
  json.set("interface",
           document.interface_file.empty() ? Json(nullptr) : Json(document.interface_file));
  json.set("limits", limits_json(document));
  json.set(
      "definitions",
      "magnitude: recorded level over the level in the file that was played. level_db: the same "
      "where no filter acts. hiss: 20 Hz to 20 kHz without lines of hum and whine; hiss_a: the "
      "same A-weighted (IEC 61672-1) up to half the rate; whole_a: with lines. "
      "steady_tones: response_db as magnitude; relative_db: re reference_db, where no filter acts; "
      "thdn_percent: all but the fundamental over the whole, from 20 Hz, or a tenth below the "
      "lowest tone, to 20 kHz; thd_percent: harmonics over the fundamental. "
      "hiss_sound_level_dba: at 1 m. re_programme: re a full-scale sine at this volume.");
  json.set("channels", std::move(channels));
  json.set("pair", pair_json(document.verification.pair));
  json.set("findings", findings_json(document.verification.findings));
  json.set("warnings", document.warnings);
  return json;
}

}  // namespace railtap::report
