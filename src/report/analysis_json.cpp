// SPDX-License-Identifier: MIT
// The analysis document in JSON.
#include "report/analysis.hpp"
#include "report/curves_json.hpp"
#include "report/json_values.hpp"
#include "system/json_text.hpp"

namespace railtap::report {
namespace {

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

void add_findings(Json& to, const judge::Findings& f) {
  to["verdict"] = judge::name(f.verdict);
  to["reasons"] = f.reasons;
  to["frequency_hz"] = json_number(f.frequency);
  to["level_dbfs"] = json_number(f.level);
  to["level_v"] = json_number(f.level_v);
  to["peak_dbfs"] = json_number(f.peak);
  to["crest_factor_db"] = json_number(f.crest_factor);
  to["dc_percent_full_scale"] = json_number(f.dc);
  to["thdn_percent"] = json_number(f.thdn);
  to["thdn_db"] = json_number(f.thdn_db);
  to["thd_percent"] = json_number(f.thd);
  to["sinad_db"] = json_number(f.sinad);
  to["noise_dbfs"] = json_number(f.noise);
  to["noise_a_dbfs"] = json_number(f.noise_a);
  to["noise_a_v"] = json_number(f.noise_a_v);
  to["harmonics"] = harmonics_json(f.harmonics);
  to["flat_top"] = flat_top_json(f.flat_top);
  to["input_overload"] = {{"present", f.input_overload.present},
                          {"samples_at_full_scale", f.input_overload.samples_at_full_scale},
                          {"longest_run", f.input_overload.longest_run}};
  to["peak_runs"] = {{"positive", peak_json(f.peak_positive)},
                     {"negative", peak_json(f.peak_negative)}};
  to["interference"] = interference_json(f.interference);
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
                        {"sentence", c.found ? found.sentence : c.obstacle}});
  }
  return {{"file", compared->file_name},
          {"attenuation_db", json_number(compared->attenuation.value())},
          {"channels", std::move(channels)}};
}

}  // namespace

std::string analysis_json(const AnalysisDocument& document) {
  const double rate = document.format.rate.value();
  Json json = {{"schema", "railtap.analysis/1"},
               {"file",
                {{"name", document.file_name},
                 {"sample_rate_hz", rate},
                 {"channels", document.format.channels},
                 {"frames", document.frames},
                 {"duration_s", static_cast<double>(document.frames) / rate},
                 {"encoding", document.format.encoding}}},
               {"band_hz", {document.limits.band.low.value(), document.limits.band.high.value()}},
               {"limit_thdn_percent", document.limits.thdn.value()},
               {"volts_per_full_scale", json_number(document.limits.volts_per_full_scale)},
               {"definitions",
                "dBFS: RMS re a full-scale sine (AES17). thdn: RMS of all but the fundamental over "
                "RMS of the whole, "
                "in band_hz, DC excluded. thd: harmonics in the band over the fundamental."}};
  Json channels = Json::array();
  for (const auto& channel : document.channels) {
    Json entry = {{"channel", channel.channel}};
    add_findings(entry, channel.findings);
    entry["not_above_interface"] = nullptr;
    if (const std::size_t i = channels.size(); i < document.own.size())
      entry["not_above_interface"] = own_json(document.own[i]);
    entry["segments"] = segments_json(channel.segments);
    if (channels.size() < document.curves.size()) {
      entry["curves"] =
          curves_json(document.curves[channels.size()], document.limits.volts_per_full_scale);
    }
    channels.push_back(std::move(entry));
  }
  json["channels"] = std::move(channels);
  json["warnings"] = document.warnings;
  json["compared_attenuation"] = compared_json(document.compared);
  return system::json_line(json);
}

}  // namespace railtap::report
