// SPDX-License-Identifier: MIT
// The analysis document in JSON.
#include <cstdio>
#include <cstdlib>

#include "report/analysis.hpp"
#include "report/cause_json.hpp"
#include "system/json.hpp"

namespace railtap::report {
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
  Json json = {{"channel", channel.channel}};
  add_findings(json, channel.findings);
  json.set("not_above_interface",
           index < document.own.size() ? own_json(document.own[index]) : Json(nullptr));
  json.set("programme", programme_json(channel.programme));
  json.set("played", played_json(channel.played));
  json.set("interruptions", interruptions_json(channel));
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
