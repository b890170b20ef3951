// SPDX-License-Identifier: MIT
// Sorting a record's entries by what they are about.
#include "report/sheet/parts.hpp"

#include <algorithm>
#include <optional>

#include "system/system_description.hpp"

namespace railtap::report {
namespace {

/// More channels than any recording of a car has; a record that says otherwise is not followed.
constexpr std::size_t most_channels = 32;

using system::channel_names;

/// A channel as the system names it, or whatever an entry is about.
struct Subject {
  std::string name;
  bool source = false;
  bool operator==(const Subject&) const = default;
};

Subject subject_of(const JsonView& entry) {
  return {entry["subject"].text(), entry["stage"].text() == "source"};
}

/// The names of an entry's channels, where the system has one for each of several.
std::vector<std::string> names_in(const JsonView& entry, const JsonView& system) {
  if (entry["stage"].text() == "source") return {};
  std::vector<std::string> names = channel_names(system, entry["subject"].text());
  const std::size_t count = entry["result"]["channels"].size();
  if (names.size() < 2 || names.size() != count) return {};
  return names;
}

/// Which of an entry's channels is about the subject; `index` counts those of a subject that the
/// system does not name.
std::optional<std::size_t> place_in(const JsonView& entry, const JsonView& system,
                                    const Subject& subject, std::size_t index) {
  const auto names = names_in(entry, system);
  if (names.empty()) return subject_of(entry) == subject ? std::optional(index) : std::nullopt;
  const auto found = std::find(names.begin(), names.end(), subject.name);
  if (subject.source || found == names.end()) return std::nullopt;
  return static_cast<std::size_t>(found - names.begin());
}

bool is_measurement(const JsonView& entry) {
  const std::string kind = entry["kind"].text();
  return kind == "analysis" || kind == "onset" || kind == "target" || kind == "verification";
}

/// Where a target stands for several channels, they are named within it.
std::vector<JsonView> targets_in(const JsonView& entry) {
  std::vector<JsonView> found;
  const JsonView result = entry["result"];
  if (result["target_v"].known()) found.push_back(result);
  for (const JsonView& channel : result["channels"].elements()) {
    if (channel["target_v"].known() && channel["name"].known()) found.push_back(channel);
  }
  return found;
}

std::string target_subject(const JsonView& target, const JsonView& entry) {
  const std::string name = target["name"].text();
  return name.empty() ? entry["subject"].text() : name;
}

void add_once(std::vector<Subject>& subjects, const Subject& subject) {
  if (std::find(subjects.begin(), subjects.end(), subject) == subjects.end()) {
    subjects.push_back(subject);
  }
}

std::vector<Subject> subjects_of(const std::vector<JsonView>& entries, const JsonView& system) {
  std::vector<Subject> subjects;
  for (const JsonView& entry : entries) {
    const auto targets = targets_in(entry);
    for (const JsonView& target : targets) add_once(subjects, {target_subject(target, entry)});
    if (!is_measurement(entry) || !targets.empty()) continue;
    const auto names = names_in(entry, system);
    for (const std::string& name : names) add_once(subjects, {name});
    if (names.empty()) add_once(subjects, subject_of(entry));
  }
  std::stable_sort(subjects.begin(), subjects.end(),
                   [](const Subject& a, const Subject& b) { return a.source && !b.source; });
  return subjects;
}

std::size_t channels_of(const std::vector<JsonView>& entries, const JsonView& system,
                        const Subject& subject) {
  std::size_t count = 1;
  for (const JsonView& entry : entries) {
    const std::string kind = entry["kind"].text();
    if (subject_of(entry) != subject || !names_in(entry, system).empty() ||
        (kind != "analysis" && kind != "onset"))
      continue;
    count = std::max(count, entry["result"]["channels"].size());
  }
  return std::min(count, most_channels);
}

void take_analysis(RecordRow& row, const JsonView& entry, const JsonView& channel) {
  if (!channel["verdict"].known()) return;
  if (!channel["frequency_hz"].known()) {
    if (!channel["noise_a_dbfs"].known()) return;
    row.quiet_entry = entry;
    row.quiet = channel;
  } else if (entry["moment"].text() == "before") {
    row.found_entry = entry;
    row.found = channel;
  } else {
    row.reached_entry = entry;
    row.reached = channel;
  }
}

/// A recording of the stepped tones alone leaves what else was verified standing.
bool is_steady_tones_alone(const JsonView& channel) {
  return channel["steady_tones"].known() && !channel["identity"].known() &&
         !channel["polarity"].known() && !channel["response"].known() &&
         !channel["silence"].known();
}

void take_verification(RecordRow& row, const JsonView& entry, const JsonView& channel) {
  if (channel["steady_tones"]["tones"].size() > 0) row.steady_tones = channel["steady_tones"];
  if (row.verified.known() && is_steady_tones_alone(channel)) return;
  if (entry["moment"].text() == "before") row.verified_before = channel;
  if (entry["result"]["gain_position_percent"].known())
    row.gain_percent = entry["result"]["gain_position_percent"];
  row.verified_entry = entry;
  row.verified = channel.known() ? channel : entry["result"];
}

/// Later entries take the place of earlier ones.
void take(RecordRow& row, const JsonView& entry, std::size_t index) {
  const std::string kind = entry["kind"].text();
  const JsonView channel = entry["result"]["channels"][index];
  if (kind == "analysis") take_analysis(row, entry, channel);
  if (kind == "onset" && channel["verdict"].known()) {
    row.onset_entry = entry;
    row.onset = channel;
  }
  if (kind == "verification") take_verification(row, entry, channel);
  if (!entry["note"].text().empty()) row.noted.push_back(entry);
  if (!row.number.known()) row.number = channel["channel"];
}

/// Where the demo left the control of this channel.
void take_travel(RecordRow& row, const JsonView& entry) {
  if (entry["kind"].text() != "demo") return;
  for (const JsonView& channel : entry["result"]["channels"].elements()) {
    if (channel["input"].text() == row.subject && channel["travel_percent"].number())
      row.gain_percent = channel["travel_percent"];
  }
}

std::string control_of(const JsonView& system, const std::string& name) {
  for (const JsonView& amplifier : system["amplifier"].elements()) {
    for (const JsonView& channel : amplifier["channel"].elements()) {
      if (channel["name"].text() == name) return channel["control"].text();
    }
  }
  return {};
}

/// A remark about the channel, or about its gain control.
bool is_remark(const RecordRow& row, const JsonView& entry) {
  const std::string about = entry["subject"].text();
  return entry["kind"].text() == "note" && entry["stage"].text().empty() &&
         (about == row.subject || (!about.empty() && !row.source && about == row.control));
}

RecordRow row_of(const JsonView& record, const Subject& subject, std::size_t index) {
  const auto entries = record["entries"].elements();
  const JsonView system = record["system"];
  RecordRow row;
  row.subject = subject.name;
  row.source = subject.source;
  if (!subject.source) row.control = control_of(system, subject.name);
  for (const JsonView& entry : entries) {
    for (const JsonView& target : targets_in(entry)) {
      if (subject.source || target_subject(target, entry) != subject.name) continue;
      row.target = target;
      row.tolerance =
          target["tolerance_db"].known() ? target["tolerance_db"] : entry["result"]["tolerance_db"];
    }
    const auto place = place_in(entry, system, subject, index);
    if (place || is_remark(row, entry)) take(row, entry, place.value_or(0));
    if (!row.source) take_travel(row, entry);
  }
  return row;
}

JsonView level_of_highest_clean(const JsonView& channel) {
  const auto wanted = channel["highest_clean_step"].number();
  for (const JsonView& step : channel["steps"].elements()) {
    if (wanted && step["index"].number() == wanted) return step["level_v"];
  }
  return {};
}

}  // namespace

std::vector<RecordRow> rows_of(const JsonView& record) {
  const auto entries = record["entries"].elements();
  std::vector<RecordRow> rows;
  for (const Subject& subject : subjects_of(entries, record["system"])) {
    const std::size_t channels = channels_of(entries, record["system"], subject);
    for (std::size_t index = 0; index < channels; ++index) {
      rows.push_back(row_of(record, subject, index));
      rows.back().alone = channels == 1;
    }
  }
  return rows;
}

std::string own_name(const RecordRow& row) {
  for (const JsonView& channel : {row.reached, row.found, row.quiet, row.onset, row.verified}) {
    if (!channel["name"].text().empty()) return channel["name"].text();
  }
  return {};
}

namespace {

/// By its own name, or as the only channel of its subject; empty where only a number tells it from
/// its neighbours.
std::string told_apart_as(const RecordRow& row) {
  const std::string name = own_name(row);
  return name.empty() && row.alone ? row.subject : name;
}

}  // namespace

const RecordRow* same_row(const std::vector<RecordRow>& rows, const RecordRow& row) {
  const std::string name = told_apart_as(row);
  const auto found = std::find_if(rows.begin(), rows.end(), [&](const RecordRow& other) {
    if (other.source != row.source) return false;
    const bool numbered =
        other.subject == row.subject && other.number.number() == row.number.number();
    return numbered || (!name.empty() && told_apart_as(other) == name);
  });
  return found == rows.end() ? nullptr : &*found;
}

VolumeLimit volume_limit(const JsonView& record) {
  VolumeLimit limit;
  for (const JsonView& entry : record["entries"].elements()) {
    const JsonView unit = entry["result"]["head_unit"];
    if (unit["highest_clean_step"].number()) {
      limit = {unit["highest_clean_step"], unit["volume_steps"], unit["level_v"]};
    } else if (entry["kind"].text() == "onset" && entry["stage"].text() == "source") {
      limit = {{}, {}, level_of_highest_clean(entry["result"]["channels"][0])};
    }
  }
  return limit;
}

}  // namespace railtap::report
