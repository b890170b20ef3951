// SPDX-License-Identifier: MIT
// An analysis as the contract's JSON document, and as text for a person; the cause of a fault as
// every document has it.
#include "report/analysis.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <iomanip>
#include <sstream>

#include "judge/sentence.hpp"
#include "judge/turning.hpp"
#include "report/words.hpp"
#include "system/json.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {

// The analysis for a person: a short block per channel, verdict first.

namespace {

constexpr std::size_t most_segments_listed = 40;

const char* headline(judge::Verdict verdict) {
  switch (verdict) {
    case judge::Verdict::clean:
      return "CLEAN";
    case judge::Verdict::clipped:
      return "CLIPPED";
    case judge::Verdict::distorted:
      return "DISTORTED";
    case judge::Verdict::input_overload:
      return "RECORDING INPUT OVERLOADED";
    case judge::Verdict::no_signal:
      return "NO SIGNAL";
    case judge::Verdict::no_tone:
      return "NO STEADY TONE";
    case judge::Verdict::unusable:
      return "UNUSABLE";
  }
  return "UNUSABLE";
}

class Lines {
 public:
  void add(const std::string& label, const std::string& text) {
    out_ << "    " << std::left << std::setw(14) << label << text << '\n';
  }
  [[nodiscard]] std::string text() const { return out_.str(); }

 private:
  std::ostringstream out_;
};

std::string percent(Percent value) {
  return format_quantity(value, 3);
}

void add_level(Lines& lines, const judge::Findings& f) {
  if (!f.level) return;
  std::string text = format_fixed(*f.level, 3);
  if (f.level_v) text += "  =  " + format_quantity(*f.level_v, 4, Zeros::keep) + " RMS";
  lines.add("level", text);
  if (f.peak && f.crest_factor) {
    lines.add("peak", format_fixed(*f.peak, 2) + ", crest factor " +
                          format_fixed(*f.crest_factor, 2) + ", DC " + format_fixed(*f.dc, 3) +
                          " of full scale");
  }
}

void add_part(Lines& lines, const std::optional<judge::Part>& part) {
  if (!part) return;
  lines.add("figures of", format_fixed(part->start, 1) + " to " + format_fixed(part->end, 1) +
                              ", the longest steady part; for the others see below");
}

// Behind a figure that may be the recording input's.
const char* own_text(bool own) {
  return own ? ", not above the interface's own" : "";
}

void add_distortion(Lines& lines, const judge::Findings& f, const judge::NotAbove& own) {
  if (!f.thdn) return;
  lines.add("frequency", format_fixed(*f.frequency, 3));
  std::string text = percent(*f.thdn);
  if (f.thdn_db) text += " (" + format_fixed(*f.thdn_db, 1) + ")";
  lines.add("THD+N", text + own_text(own.thdn));
  lines.add("THD", percent(*f.thd));
}

void add_noise(Lines& lines, const judge::Findings& f, const judge::NotAbove& own) {
  if (!f.noise) return;
  std::string text = format_fixed(*f.noise, 1);
  if (f.noise_a) text += ", A-weighted " + format_fixed(*f.noise_a, 1);
  if (f.noise_a_v) text += " = " + format_quantity(*f.noise_a_v, 3) + " RMS";
  lines.add("noise", text + own_text(own.noise || own.noise_a));
}

void add_flat_top(Lines& lines, const judge::FlatTop& flat) {
  const auto rail = [&](const char* label, const auto& overdrive, const auto& plateau) {
    if (!overdrive) return;
    std::string text = "over by " + judge::overdrive_text(*overdrive);
    if (plateau) text += ", flat for " + format_fixed(*plateau, 1) + " of the cycle";
    lines.add(label, text);
  };
  rail("positive rail", flat.overdrive_positive, flat.plateau_positive);
  rail("negative rail", flat.overdrive_negative, flat.plateau_negative);
}

void add_interference(Lines& lines, const judge::Findings& f) {
  constexpr std::size_t most = 4;
  for (std::size_t i = 0; i < f.interference.size() && i < most; ++i) {
    const auto& line = f.interference[i];
    lines.add(line.kind, format_fixed(line.frequency, 1) + " at " + format_fixed(line.level, 1));
  }
}

std::string segments_text(const std::vector<judge::SegmentFindings>& segments) {
  std::ostringstream out;
  if (segments.empty()) return "";
  out << "    segments      start s    end s     level dBFS      THD+N  verdict\n";
  for (std::size_t i = 0; i < segments.size() && i < most_segments_listed; ++i) {
    const auto& s = segments[i];
    out << "              " << std::right << std::fixed << std::setprecision(1) << std::setw(11)
        << s.start.value() << std::setw(9) << s.end.value() << std::setw(15);
    if (s.findings.level) {
      out << std::setprecision(2) << s.findings.level->value();
    } else {
      out << "-";
    }
    out << std::setw(11) << (s.findings.thdn ? percent(*s.findings.thdn) : "-") << "  "
        << judge::name(s.findings.verdict) << '\n';
  }
  if (segments.size() > most_segments_listed) {
    out << "                  … and " << segments.size() - most_segments_listed
        << " more (--json has them all)\n";
  }
  return out.str();
}

// A flat top below full scale may be the recording input's own analogue stage.
std::string doubt_text(const AnalysisDocument& document, const judge::Findings& f) {
  if (!f.cause || document.compared) return "";
  if (!f.cause->input_excluded || *f.cause->input_excluded) return "";
  return "    One recording cannot tell whether the amplifier or the recording input clips; two "
         "can: railtap analyze " +
         visible(shell_word(document.file_name)) + " --compare-attenuation SECOND_RECORDING 6dB\n";
}

// One recording of several levels holds more than an analysis says.
std::string rise_text(const AnalysisDocument& document, const judge::ChannelAnalysis& channel) {
  if (!channel.level_rises) return "";
  return "    The level rises from segment to segment; where clipping begins says: railtap onset " +
         visible(shell_word(document.file_name)) + '\n';
}

std::string interruptions_text(const judge::ChannelAnalysis& channel) {
  constexpr std::size_t most = 20;
  std::string text;
  for (std::size_t i = 0; i < channel.interruptions.size() && i < most; ++i) {
    const judge::Interruption& one = channel.interruptions[i];
    text += std::string("    ") + judge::name(one.kind) + " at " + format_fixed(one.start, 3);
    if (one.length > Seconds(0.0)) text += ", " + format_quantity(one.length, 2);
    text += '\n';
  }
  const auto listed = static_cast<std::int64_t>(std::min(most, channel.interruptions.size()));
  if (channel.interruption_count > listed)
    text += "    … and " + std::to_string(channel.interruption_count - listed) + " more\n";
  return text;
}

std::string compared_text(const std::optional<AttenuationComparison>& compared, int channel) {
  if (!compared) return "";
  for (const judge::ComparedChannel& c : compared->channels) {
    if (c.channel != channel) continue;
    return "    Against " + visible(compared->file_name) + ": " +
           (c.found ? c.found->sentence : c.obstacle + ".") + '\n';
  }
  return "";
}

}  // namespace

std::string analysis_text(const AnalysisDocument& document) {
  std::ostringstream out;
  const double duration = static_cast<double>(document.frames) / document.format.rate.value();
  out << visible(document.file_name) << ": " << document.format.encoding << ", "
      << document.format.channels << (document.format.channels == 1 ? " channel, " : " channels, ")
      << document.format.rate.value() << " Hz, " << std::fixed << std::setprecision(2) << duration
      << " s\n";
  for (std::size_t i = 0; i < document.channels.size(); ++i) {
    const auto& channel = document.channels[i];
    const judge::NotAbove own = i < document.own.size() ? document.own[i] : judge::NotAbove{};
    const judge::Findings& f = channel.findings;
    const std::string name = judge::name_of_channel(document.names, channel.channel);
    out << "\n  " << channel_heading(name, channel.channel) << ": " << headline(f.verdict) << '\n';
    out << compared_text(document.compared, channel.channel);
    if (f.cause) {
      out << "    " << f.cause->sentence << "\n    -> " << f.cause->remedy << '\n';
    }
    out << doubt_text(document, f) << rise_text(document, channel);
    for (const auto& reason : f.reasons) out << "    " << reason << '\n';
    Lines lines;
    add_part(lines, channel.figures_of);
    add_level(lines, f);
    add_distortion(lines, f, own);
    add_flat_top(lines, f.flat_top);
    add_noise(lines, f, own);
    add_interference(lines, f);
    out << lines.text() << interruptions_text(channel) << segments_text(channel.segments);
  }
  out << "\n  Levels are RMS re a full-scale sine (AES17), THD+N is all but the fundamental over "
         "the whole,\n  "
      << std::setprecision(0) << document.limits.band.low.value() << " Hz to "
      << document.limits.band.high.value() << " Hz, DC excluded.\n";
  return out.str();
}

// The analysis document in JSON.

namespace {

using system::Json;
using system::json_number;

Json harmonics_json(const std::vector<judge::HarmonicLevel>& harmonics) {
  Json list = Json::array();
  for (const auto& h : harmonics) {
    list.push_back({{"order", h.order},
                    {"level_db", json_number(h.level.value())},
                    {"phase_deg", json_number(h.phase_deg)}});
  }
  return list;
}

Json flat_top_json(const judge::FlatTop& flat) {
  return {{"present", flat.present},
          {"overdrive_positive_db", json_number(flat.overdrive_positive)},
          {"overdrive_negative_db", json_number(flat.overdrive_negative)},
          {"uncertainty_positive_db", json_number(flat.uncertainty_positive)},
          {"uncertainty_negative_db", json_number(flat.uncertainty_negative)},
          {"plateau_positive_percent", json_number(flat.plateau_positive)},
          {"plateau_negative_percent", json_number(flat.plateau_negative)},
          {"model_residual_db", json_number(flat.model_residual)},
          {"fold_agrees", flat.fold_agrees ? Json(*flat.fold_agrees) : Json(nullptr)}};
}

Json interference_json(const std::vector<judge::Interference>& interference) {
  Json list = Json::array();
  for (const auto& line : interference) {
    list.push_back({{"frequency_hz", json_number(line.frequency.value())},
                    {"level_db", json_number(line.level.value())},
                    {"kind", line.kind}});
  }
  return list;
}

Json peak_json(const std::optional<judge::PeakRuns>& peak) {
  if (!peak) return nullptr;
  return {{"level_dbfs", peak->level.value()},
          {"samples", peak->samples},
          {"longest_run", peak->longest_run}};
}

Json interruptions_json(const judge::ChannelAnalysis& channel) {
  Json list = Json::array();
  for (const judge::Interruption& i : channel.interruptions) {
    list.push_back({{"kind", judge::name(i.kind)},
                    {"start_s", json_number(i.start.value())},
                    {"length_s", json_number(i.length.value())}});
  }
  return {{"count", channel.interruption_count}, {"listed", std::move(list)}};
}

void add_findings(Json& to, const judge::Findings& f) {
  to.set("verdict", judge::name(f.verdict));
  to.set("clipped", f.clipped ? Json(*f.clipped) : Json(nullptr));
  to.set("cause", cause_json(f.cause));
  to.set("reasons", f.reasons);
  to.set("frequency_hz", json_number(f.frequency));
  to.set("level_dbfs", json_number(f.level));
  to.set("level_v", json_number(f.level_v));
  to.set("peak_dbfs", json_number(f.peak));
  to.set("crest_factor_db", json_number(f.crest_factor));
  to.set("dc_percent_full_scale", json_number(f.dc));
  to.set("thdn_percent", json_number(f.thdn));
  to.set("thdn_db", json_number(f.thdn_db));
  to.set("thd_percent", json_number(f.thd));
  to.set("sinad_db", json_number(f.sinad));
  to.set("noise_dbfs", json_number(f.noise));
  to.set("noise_a_dbfs", json_number(f.noise_a));
  to.set("noise_a_v", json_number(f.noise_a_v));
  to.set("harmonics", harmonics_json(f.harmonics));
  to.set("flat_top", flat_top_json(f.flat_top));
  to.set("input_overload", {{"present", f.input_overload.present},
                            {"samples_at_full_scale", f.input_overload.samples_at_full_scale},
                            {"longest_run", f.input_overload.longest_run}});
  to.set("peak_runs",
         {{"positive", peak_json(f.peak_positive)}, {"negative", peak_json(f.peak_negative)}});
  to.set("interference", interference_json(f.interference));
}

Json rail_json(const judge::RailPeaks& rail) {
  return {{"rail", rail.positive ? "positive" : "negative"},
          {"flat_runs", rail.flat_runs},
          {"highest_peaks", rail.highest_peaks},
          {"share_of_peaks_percent", json_number(rail.share_of_peaks.value())},
          {"longest_s", json_number(rail.longest)},
          {"total_s", json_number(rail.total)},
          {"level_dbfs", json_number(rail.level)},
          {"level_v", json_number(rail.level_v)},
          {"peak_v", json_number(rail.peak_v)},
          {"evidence_decades", json_number(rail.evidence_decades)}};
}

Json programme_json(const std::optional<judge::ProgrammeFindings>& programme) {
  if (!programme) return nullptr;
  Json rails = Json::array();
  for (const auto& rail : programme->rails) rails.push_back(rail_json(rail));
  return {{"clipped", programme->clipped ? Json(*programme->clipped) : Json(nullptr)},
          {"confidence", judge::name(programme->confidence)},
          {"rails", std::move(rails)}};
}

Json played_rail_json(const judge::PlayedRail& rail) {
  return {{"rail", rail.positive ? "positive" : "negative"},
          {"onset_dbfs", json_number(rail.onset)},
          {"onset_v", json_number(rail.onset_v)},
          {"peak_v", json_number(rail.peak_v)},
          {"uncertainty_db", json_number(rail.uncertainty)},
          {"overdrive_db", json_number(rail.overdrive)},
          {"clipped_peaks", rail.peaks},
          {"peaks", rail.all_peaks}};
}

Json played_json(const std::optional<judge::PlayedFindings>& played) {
  if (!played) return nullptr;
  Json rails = Json::array();
  for (const auto& rail : played->rails) rails.push_back(played_rail_json(rail));
  Json json = {{"found", played->measured.has_value()},
               {"clipped", played->clipped ? Json(*played->clipped) : Json(nullptr)}};
  const bool known = played->measured.has_value();
  const auto when_known = [&](const auto& value) { return known ? Json(value()) : Json(nullptr); };
  const auto& m = played->measured;
  json.set("side", when_known([&] { return judge::side_name(*m); }));
  json.set("delay_s", when_known([&] { return m->delay.value(); }));
  json.set("compared_s", when_known([&] { return m->compared.value(); }));
  json.set("clock_ppm", when_known([&] { return 1e6 * (m->clock_ratio - 1.0); }));
  json.set("polarity", when_known([&] { return m->inverted ? "inverted" : "upright"; }));
  json.set("gain_db", json_number(played->gain));
  json.set("residual_db", json_number(played->residual));
  json.set("unseen_db", json_number(played->unseen));
  json.set("unseen_single_samples_db", json_number(played->unseen_single));
  json.set("rails", std::move(rails));
  return json;
}

Json own_json(const judge::NotAbove& own) {
  Json list = Json::array();
  if (own.thdn) list.push_back("thdn");
  if (own.noise) list.push_back("noise");
  if (own.noise_a) list.push_back("noise_a");
  return list;
}

Json segments_json(const std::vector<judge::SegmentFindings>& segments) {
  if (segments.empty()) return nullptr;
  Json list = Json::array();
  for (const auto& segment : segments) {
    Json entry = {{"start_s", segment.start.value()}, {"end_s", segment.end.value()}};
    add_findings(entry, segment.findings);
    entry.erase("input_overload");  // counted over the whole channel, as are runs
    entry.erase("peak_runs");
    list.push_back(std::move(entry));
  }
  return list;
}

Json compared_json(const std::optional<AttenuationComparison>& compared) {
  if (!compared) return nullptr;
  Json channels = Json::array();
  for (const judge::ComparedChannel& c : compared->channels) {
    const judge::OverloadFinding found = c.found.value_or(judge::OverloadFinding{});
    channels.push_back({{"channel", c.channel},
                        {"source", c.found ? Json(judge::name(found.source)) : Json(nullptr)},
                        {"flat_first_dbfs", json_number(found.flat_first)},
                        {"flat_second_dbfs", json_number(found.flat_second)},
                        {"flat_moved_db", json_number(found.moved)},
                        {"level_moved_db", json_number(c.level_moved)},
                        {"sentence", c.found ? found.sentence : c.obstacle + "."}});
  }
  return {{"file", compared->file_name},
          {"attenuation_db", json_number(compared->attenuation.value())},
          {"channels", std::move(channels)}};
}

// --- the points of pictures: lists of the same length, side by side
// -----------------------------------

using Unit = std::optional<Volts>;  // what a full scale is in volts

/// Six digits, which is finer than any picture.
double short_number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.6g", value);
  return std::strtod(text, nullptr);
}

Json list(std::vector<double> values, double scale = 1.0) {
  for (double& value : values) value = short_number(scale * value);
  return Json::array(values);
}

void add_list(Json& to, const std::string& name, const std::vector<double>& values,
              const Unit& unit) {
  to.set(name + "_full_scale", list(values));
  to.set(name + "_v", unit ? list(values, unit->value()) : Json(nullptr));
}

void add_value(Json& to, const std::string& name, const std::optional<double>& value,
               const Unit& unit) {
  to.set(name + "_full_scale", value ? Json(short_number(*value)) : Json(nullptr));
  to.set(name + "_v", value && unit ? Json(short_number(*value * unit->value())) : Json(nullptr));
}

Json cycle_json(const judge::CycleCurve& cycle, const Unit& unit) {
  if (cycle.mean.empty()) return nullptr;
  Json json;
  json.set("phase_deg", list(cycle.phase_deg));
  add_list(json, "mean", cycle.mean, unit);
  add_list(json, "low", cycle.low, unit);
  add_list(json, "high", cycle.high, unit);
  add_list(json, "sine", cycle.sine, unit);
  add_value(json, "positive_rail", cycle.positive_rail, unit);
  add_value(json, "negative_rail", cycle.negative_rail, unit);
  return json;
}

Json transfer_json(const judge::TransferCurve& transfer, const Unit& unit) {
  if (transfer.input.empty()) return nullptr;
  Json json;
  json.set("input_ratio", list(transfer.input));
  add_list(json, "rising", transfer.rising, unit);
  add_list(json, "falling", transfer.falling, unit);
  return json;
}

Json spectrum_json(const judge::LevelCurve& spectrum) {
  if (spectrum.frequency_hz.empty()) return nullptr;
  return {{"resolution_hz", short_number(spectrum.resolution.value())},
          {"frequency_hz", list(spectrum.frequency_hz)},
          {"level_dbfs", list(spectrum.level_dbfs)}};
}

Json curves_json(const judge::Curves& curves, const Unit& volts_per_full_scale) {
  return {{"cycle", cycle_json(curves.cycle, volts_per_full_scale)},
          {"transfer", transfer_json(curves.transfer, volts_per_full_scale)},
          {"spectrum", spectrum_json(curves.spectrum)}};
}

Json channel_json(const AnalysisDocument& document, std::size_t index) {
  const judge::ChannelAnalysis& channel = document.channels[index];
  Json json = {{"channel", channel.channel},
               {"name", name_json(judge::name_of_channel(document.names, channel.channel))}};
  add_findings(json, channel.findings);
  json.set("not_above_interface",
           index < document.own.size() ? own_json(document.own[index]) : Json(nullptr));
  json.set("programme", programme_json(channel.programme));
  json.set("played", played_json(channel.played));
  json.set("interruptions", interruptions_json(channel));
  json.set("figures_of", nullptr);
  if (channel.figures_of) {
    json.set("figures_of", {{"start_s", channel.figures_of->start.value()},
                            {"end_s", channel.figures_of->end.value()}});
  }
  json.set("segments", segments_json(channel.segments));
  if (index < document.curves.size()) {
    json.set("curves", curves_json(document.curves[index], document.limits.volts_per_full_scale));
  }
  return json;
}

}  // namespace

Json analysis_json(const AnalysisDocument& document) {
  const double rate = document.format.rate.value();
  Json json = {{"schema", "railtap.analysis/1"},
               {"file",
                {{"name", document.file_name},
                 {"sample_rate_hz", rate},
                 {"channels", document.format.channels},
                 {"frames", document.frames},
                 {"duration_s", static_cast<double>(document.frames) / rate},
                 {"encoding", document.format.encoding}}},
               {"band_hz",
                Json::array({document.limits.band.low.value(), document.limits.band.high.value()})},
               {"limit_thdn_percent", document.limits.thdn.value()},
               {"volts_per_full_scale", json_number(document.limits.volts_per_full_scale)},
               {"definitions",
                "dBFS: RMS re a full-scale sine (AES17). thdn: RMS of all but the fundamental over "
                "RMS of the whole, "
                "in band_hz, DC excluded. thd: harmonics in the band over the fundamental."}};
  Json channels = Json::array();
  for (std::size_t i = 0; i < document.channels.size(); ++i)
    channels.push_back(channel_json(document, i));
  json.set("channels", std::move(channels));
  json.set("warnings", document.warnings);
  json.set("compared_attenuation", compared_json(document.compared));
  return json;
}

}  // namespace railtap::report
