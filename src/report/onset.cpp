// SPDX-License-Identifier: MIT
// The onset as a document, and as a table with a small plot.
#include "report/onset.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iomanip>
#include <sstream>

#include "judge/ladder_gaps.hpp"
#include "judge/sentence.hpp"
#include "report/words.hpp"
#include "system/json.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {
namespace {

using judge::ChannelOnset;
using judge::OnsetPoint;
using judge::OnsetStep;
using judge::OnsetWay;
using system::Json;
using system::json_number;

}  // namespace

// --- document ------------------------------------------------------------------------------------

namespace {

std::string name_at(const OnsetDocument& document, std::size_t index) {
  return judge::name_of_channel(document.names, document.channels[index].channel);
}

Json step_json(const judge::OnsetStep& step) {
  return {{"index", step.index},
          {"start_s", json_number(step.start.value())},
          {"end_s", json_number(step.end.value())},
          {"input_dbfs", json_number(step.input)},
          {"level_dbfs", json_number(step.level)},
          {"level_v", json_number(step.level_v)},
          {"gain_db", json_number(step.gain)},
          {"thdn_percent", json_number(step.thdn)},
          {"overdrive_positive_db", json_number(step.overdrive_positive)},
          {"overdrive_negative_db", json_number(step.overdrive_negative)},
          {"moving", step.moving},
          {"verdict", judge::name(step.verdict)}};
}

Json point_json(const std::optional<judge::OnsetPoint>& point, const char* limit_key,
                double limit) {
  if (!point) return nullptr;
  Json json;
  if (limit_key != nullptr) json.set(limit_key, json_number(limit));
  json.set("input_dbfs", json_number(point->input));
  json.set("level_dbfs", json_number(point->level.value()));
  json.set("level_v", json_number(point->level_v));
  json.set("uncertainty_db", json_number(point->uncertainty.value()));
  return json;
}

Json found_json(const StepsFound& found, const ChannelOnset& channel) {
  Json json = {{"found_by", name(found.by)},          {"steps", found.steps},
               {"rise_db", json_number(found.rise)},  {"start_s", json_number(found.start)},
               {"dwell_s", json_number(found.dwell)}, {"pause_s", json_number(found.pause)}};
  json.set("numbered_by", nullptr);
  if (channel.numbering) json.set("numbered_by", judge::name(*channel.numbering));
  return json;
}

Json missing_json(const std::vector<judge::MissingStep>& missing) {
  Json json = Json::array();
  for (const auto& step : missing) {
    json.push_back({{"index", step.index},
                    {"input_dbfs", json_number(step.input)},
                    {"why", judge::name(step.why)}});
  }
  return json;
}

Json silence_json(const std::optional<judge::WentSilent>& silent) {
  if (!silent) return nullptr;
  return {{"after_step", silent->after_step},
          {"amid_step", silent->amid_step},
          {"at_s", json_number(silent->at.value())},
          {"level_dbfs", json_number(silent->level)},
          {"level_v", json_number(silent->level_v)}};
}

Json input_onset_json(const std::optional<judge::InputOnset>& onset) {
  if (!onset) return nullptr;
  Json json = point_json(onset->at, nullptr, 0.0);
  json.set("step", onset->step);
  return json;
}

Json way_json(const OnsetWay& way, const judge::OnsetLimits& limits) {
  return {{"thdn", point_json(way.thdn, "limit_percent", limits.analysis.thdn.value())},
          {"flat_top", point_json(way.flat_top, nullptr, 0.0)},
          {"compression", point_json(way.compression, "limit_db", limits.compression.value())}};
}

Json channel_json(const judge::ChannelOnset& channel, const std::string& name,
                  const StepsFound& found, const judge::OnsetLimits& limits) {
  Json steps = Json::array();
  for (const auto& step : channel.steps) steps.push_back(step_json(step));
  Json json;
  json.set("channel", channel.channel);
  json.set("name", name_json(name));
  json.set("ladder", found_json(found, channel));
  json.set("steps", std::move(steps));
  json.set("onset", way_json({channel.thdn, channel.flat_top, channel.compression}, limits));
  json.set("onset_down", nullptr);
  if (channel.down) json.set("onset_down", way_json(*channel.down, limits));
  json.set("only_down", channel.only_down);
  json.set("input_onset", input_onset_json(channel.input_onset));
  json.set("missing_steps", missing_json(channel.missing_steps));
  json.set("went_silent", silence_json(channel.went_silent));
  json.set("small_signal_gain_db", json_number(channel.small_signal_gain));
  json.set("highest_clean_step", nullptr);
  if (channel.highest_clean_step) json.set("highest_clean_step", *channel.highest_clean_step);
  json.set("verdict", judge::name(channel.verdict));
  json.set("reasons", channel.reasons);
  return json;
}

Json index_json(const std::optional<int>& index) {
  if (!index) return nullptr;
  return *index;
}

Json stage_json(const judge::StageComparison& stage, int channel) {
  Json steps = Json::array();
  for (const auto& step : stage.steps) {
    steps.push_back({{"index", step.index},
                     {"overdrive_before_db", json_number(step.before.value())},
                     {"overdrive_after_db", json_number(step.after.value())},
                     {"added_db", json_number(step.added.value())},
                     {"thdn_before_percent", json_number(step.thdn_before)},
                     {"thdn_after_percent", json_number(step.thdn_after)}});
  }
  return {{"channel", channel},
          {"first", judge::name(stage.first)},
          {"sentence", stage.sentence},
          {"first_step_before", index_json(stage.first_step_before)},
          {"first_step_after", index_json(stage.first_step_after)},
          {"first_step_added", index_json(stage.first_step_added)},
          {"steps", std::move(steps)}};
}

}  // namespace

const char* name(StepsFound::By by) {
  switch (by) {
    case StepsFound::By::nothing:
      return "nothing";
    case StepsFound::By::options:
      return "options";
    case StepsFound::By::marker:
      return "marker";
    case StepsFound::By::levels:
      return "levels";
    case StepsFound::By::standing:
      return "standing-levels";
    case StepsFound::By::turned:
      return "turned";
  }
  return "nothing";
}

Json onset_json(const OnsetDocument& document) {
  Json json;
  json.set("schema", "railtap.onset/1");
  json.set("file", {{"name", document.file_name},
                    {"sample_rate_hz", json_number(document.format.rate.value())},
                    {"channels", document.format.channels},
                    {"encoding", document.format.encoding}});
  json.set("limit_thdn_percent", json_number(document.limits.analysis.thdn.value()));
  json.set("volts_per_full_scale", json_number(document.limits.analysis.volts_per_full_scale));
  Json channels = Json::array();
  for (std::size_t i = 0; i < document.channels.size(); ++i) {
    channels.push_back(channel_json(document.channels[i], name_at(document, i), document.found[i],
                                    document.limits));
  }
  json.set("channels", std::move(channels));
  json.set("warnings", document.warnings);
  json.set("stage", nullptr);
  if (document.before_name) {
    Json stages = Json::array();
    for (std::size_t i = 0; i < document.stages.size(); ++i) {
      stages.push_back(stage_json(document.stages[i], document.channels[i].channel));
    }
    json.set("stage", {{"before", *document.before_name}, {"channels", std::move(stages)}});
  }
  return json;
}

// --- words ---------------------------------------------------------------------------------------

namespace {

const char* headline(judge::OnsetVerdict verdict) {
  switch (verdict) {
    case judge::OnsetVerdict::clips:
      return "CLIPS";
    case judge::OnsetVerdict::compresses:
      return "COMPRESSES";
    case judge::OnsetVerdict::clean_throughout:
      return "CLEAN THROUGHOUT";
    case judge::OnsetVerdict::input_overload:
      return "RECORDING INPUT OVERLOADED";
    case judge::OnsetVerdict::no_ladder:
      return "NO LADDER";
  }
  return "NO LADDER";
}

std::string clock(Seconds start) {
  return format_fixed(start, 1);
}

std::string volts(Volts value) {
  return format_quantity(value, 4, Zeros::keep);
}

std::string found_line(const StepsFound& found) {
  if (found.by == StepsFound::By::nothing) return "";
  std::string text = std::to_string(found.steps) + " steps";
  if (found.rise && found.dwell) {
    text += " of " + format_quantity(*found.rise, 3) + ", " + format_quantity(*found.dwell, 3) +
            " each, from " + clock(*found.start);
    constexpr Seconds least_pause{0.02};
    if (found.pause && *found.pause > least_pause)
      text += ", " + format_quantity(*found.pause, 2) + " apart";
  }
  switch (found.by) {
    case StepsFound::By::options:
      return text + ", as described";
    case StepsFound::By::marker:
      return text + ", by the ladder's marker";
    case StepsFound::By::levels:
      return text + ", found by their levels; what was fed in is not known";
    case StepsFound::By::turned:
      return text + " of a level that was turned by hand; what was fed in is not known";
    default:
      return text + " where the level is steady; what was fed in is not known";
  }
}

const OnsetStep* step_of(const ChannelOnset& channel, std::optional<int> index) {
  if (!index) return nullptr;
  const auto at = std::find_if(channel.steps.begin(), channel.steps.end(),
                               [&](const OnsetStep& s) { return s.index == *index; });
  return at == channel.steps.end() ? nullptr : &*at;
}

class Lines {
 public:
  void add(const std::string& label, const std::string& text) {
    out_ << "    " << std::left << std::setw(22) << label << text << '\n';
  }
  [[nodiscard]] std::string text() const { return out_.str(); }

 private:
  std::ostringstream out_;
};

std::string levels(const std::optional<Dbfs>& input, const std::optional<Dbfs>& level,
                   const std::optional<Volts>& level_v) {
  std::string text;
  if (level_v) text += volts(*level_v) + ", ";
  if (level) text += format_fixed(*level, 2);
  if (input) text += ", " + format_fixed(*input, 2) + " in";
  return text;
}

void add_clean_step(Lines& lines, const ChannelOnset& channel) {
  const OnsetStep* step = step_of(channel, channel.highest_clean_step);
  if (step == nullptr) return lines.add("highest clean step", "none");
  const std::string start = clock(step->start);
  const std::string end = clock(step->end);
  lines.add("highest clean step", std::to_string(step->index) + ", " +
                                      (start == end ? "at " + start : start + " to " + end) + ": " +
                                      levels(step->input, step->level, step->level_v));
}

void add_point(Lines& lines, const std::string& label, const std::optional<OnsetPoint>& point,
               const char* absent = "not reached") {
  if (!point) return lines.add(label, absent);
  const Decibels band = judge::expanded_uncertainty(*point);
  constexpr Decibels fine{0.01};
  lines.add(label, levels(point->input, point->level, point->level_v) + "  (±" +
                       format_fixed(band, band < fine ? 3 : 2) + ")");
}

// Of a level that was turned down again, both ways.
void add_criterion(Lines& lines, const std::string& label, const ChannelOnset& channel,
                   const std::optional<OnsetPoint>& point,
                   std::optional<OnsetPoint> OnsetWay::*criterion,
                   const char* absent = "not reached") {
  if (!channel.down) return add_point(lines, label, point, absent);
  lines.add(label, "");
  if (!channel.only_down) add_point(lines, "  on the way up", point, absent);
  add_point(lines, "  on the way down", *channel.down.*criterion, absent);
}

// --- plot -----------------------------------------------------------------------------------

constexpr int plot_rows = 8;
constexpr double plot_low_db = -80.0;  // 0.01 %
constexpr double plot_high_db = 0.0;
constexpr double row_db = (plot_high_db - plot_low_db) / plot_rows;
constexpr std::size_t widest_plot = 66;

// A block that is filled in eighths from below.
const char* block(double share) {
  constexpr std::array<const char*, 9> blocks{" ", "▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
  const auto eighths = static_cast<std::size_t>(std::lround(std::clamp(share, 0.0, 1.0) * 8.0));
  return blocks[eighths];
}

std::string axis_label(double db) {
  return format_quantity(judge::share_of_level(Decibels(db)), 1);
}

std::vector<const OnsetStep*> plotted_steps(const ChannelOnset& channel) {
  std::vector<const OnsetStep*> steps;
  for (const OnsetStep& step : channel.steps) {
    if (step.thdn && step.thdn->value() > 0.0) steps.push_back(&step);
  }
  if (steps.size() > widest_plot) {
    steps.erase(steps.begin(), steps.end() - static_cast<std::ptrdiff_t>(widest_plot));
  }
  return steps;
}

std::string plot(const ChannelOnset& channel, Percent limit) {
  const auto steps = plotted_steps(channel);
  if (steps.size() < 3) return "";
  const std::size_t width = std::clamp<std::size_t>(widest_plot / steps.size(), 1, 2);
  const double limit_db = judge::level_of_share(limit).value();
  std::ostringstream out;
  out << "    THD+N over the steps, limit " << format_quantity(limit) << '\n';
  for (int row = plot_rows - 1; row >= 0; --row) {
    const double bottom = plot_low_db + row * row_db;
    const bool at_limit = limit_db >= bottom && limit_db < bottom + row_db;
    out << "    " << std::right << std::setw(8) << axis_label(bottom + row_db)
        << (at_limit ? " ┼" : " │");
    for (const OnsetStep* step : steps) {
      const double db = judge::level_of_share(*step->thdn).value();
      const double share = (db - bottom) / row_db;
      const std::string cell = share <= 0.0 && at_limit ? "·" : block(share);
      for (std::size_t i = 0; i < width; ++i) out << cell;
    }
    out << '\n';
  }
  out << "             └";
  for (const OnsetStep* step : steps) {
    const bool marked = channel.highest_clean_step && step->index == *channel.highest_clean_step;
    for (std::size_t i = 0; i < width; ++i) out << (marked ? "▲" : "─");
  }
  out << '\n';
  return out.str();
}

// --- table ------------------------------------------------------------------------------------

template <class Q>
std::string cell(const std::optional<Q>& value, int decimals) {
  if (!value) return "-";
  std::ostringstream out;
  out << std::fixed << std::setprecision(decimals) << value->value();
  return out.str();
}

std::string thdn_cell(const std::optional<Percent>& value) {
  if (!value) return "-";
  return cell(value, value->value() < 1.0 ? 3 : 2);
}

std::string table(const ChannelOnset& channel) {
  std::ostringstream out;
  const auto row = [&](const std::array<std::string, 9>& cells, const std::string& verdict) {
    constexpr std::array<int, 9> widths{4, 8, 8, 9, 9, 8, 9, 7, 7};
    out << "    ";
    for (std::size_t i = 0; i < cells.size(); ++i) {
      out << std::right << std::setw(widths[i]) << cells[i];
    }
    out << "  " << verdict << '\n';
  };
  row({"step", "from s", "in dBFS", "dBFS", "volts", "gain dB", "THD+N %", "over +", "over -"}, "");
  for (const OnsetStep& s : channel.steps) {
    const bool marked = channel.highest_clean_step && s.index == *channel.highest_clean_step;
    row({std::to_string(s.index), cell(std::optional(s.start), 1), cell(s.input, 1),
         cell(s.level, 2), cell(s.level_v, 3), cell(s.gain, 2), thdn_cell(s.thdn),
         cell(s.overdrive_positive, 2), cell(s.overdrive_negative, 2)},
        std::string(judge::name(s.verdict)) + (marked ? "  <- highest clean" : ""));
  }
  return out.str();
}

std::string channel_text(const ChannelOnset& channel, const std::string& name,
                         const StepsFound& found, const judge::OnsetLimits& limits) {
  std::string text =
      "  " + channel_heading(name, channel.channel) + ": " + headline(channel.verdict) + '\n';
  for (const auto& reason : channel.reasons) text += "    " + reason + '\n';
  if (channel.verdict == judge::OnsetVerdict::no_ladder) return text;
  const std::string line = found_line(found);
  if (!line.empty()) text += "    " + line + '\n';
  Lines lines;
  add_clean_step(lines, channel);
  add_criterion(lines, "clips at", channel, channel.flat_top, &OnsetWay::flat_top);
  const bool never_within = !channel.highest_clean_step.has_value();
  add_criterion(lines, "THD+N " + format_quantity(limits.analysis.thdn) + " at", channel,
                channel.thdn, &OnsetWay::thdn,
                never_within ? "not known: no step is within it" : "not reached");
  add_criterion(lines, "gain falls " + format_quantity(limits.compression) + " at", channel,
                channel.compression, &OnsetWay::compression);
  if (channel.input_onset)
    add_point(lines, "recording input at", std::optional(channel.input_onset->at));
  return text + lines.text() + '\n' + plot(channel, limits.analysis.thdn) + '\n' + table(channel);
}

}  // namespace

std::string onset_text(const OnsetDocument& document) {
  std::string text = visible(document.file_name) + ": " + document.format.encoding + ", " +
                     format_quantity(document.format.rate, 4) + ", " +
                     std::to_string(document.format.channels) +
                     (document.format.channels == 1 ? " channel\n" : " channels\n");
  for (std::size_t i = 0; i < document.stages.size(); ++i) {
    text += "  " + channel_heading(name_at(document, i), document.channels[i].channel) +
            " against " + visible(*document.before_name) + ": " + document.stages[i].sentence +
            '\n';
  }
  for (std::size_t i = 0; i < document.channels.size(); ++i) {
    text += channel_text(document.channels[i], name_at(document, i), document.found[i],
                         document.limits);
  }
  text +=
      "  dBFS: RMS, 0 dBFS is a full-scale sine (AES17). THD+N re the whole signal, 20 Hz to 20 "
      "kHz. ± is two standard uncertainties.\n";
  return text;
}

}  // namespace railtap::report
