// SPDX-License-Identifier: MIT
// The verification document in JSON.
#include "report/verification.hpp"
#include "system/json.hpp"

namespace railtap::report {
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
          {"name", channel.name.empty() ? Json(nullptr) : Json(channel.name)},
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
