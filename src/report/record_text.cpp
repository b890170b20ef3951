// SPDX-License-Identifier: MIT
// What a job's record holds, an entry a line.
#include "report/record_text.hpp"

#include <algorithm>
#include <array>
#include <string>

#include "units/print.hpp"
#include "units/quantity.hpp"
#include "units/visible.hpp"

namespace railtap::report {
namespace {

using system::JsonView;
using system::RecordEntry;

template <class Q>
std::string quantity_in(const JsonView& place) {
  const auto value = place.number();
  return value ? ' ' + format_quantity(Q(*value), 4, Zeros::keep) : "";
}

std::string word_in(const JsonView& place) {
  const std::string word = place.text();
  return word.empty() ? "" : ' ' + visible(word);
}

/// The few keys of our documents that say most; whoever wants more reads the JSON.
std::string main_numbers(const JsonView& object) {
  std::string text = word_in(object["verdict"]) + quantity_in<Volts>(object["level_v"]) +
                     quantity_in<Volts>(object["volts_per_full_scale"]) +
                     quantity_in<Volts>(object["target_v"]) +
                     quantity_in<Volts>(object["reading_v"]);
  const std::string thdn = quantity_in<Percent>(object["thdn_percent"]);
  return thdn.empty() ? text : text + ", THD+N" + thdn;
}

/// What a verification found against a channel; empty for other results.
std::string findings_text(const JsonView& channel) {
  if (!channel["findings"].is_list()) return {};
  std::string text;
  for (const JsonView& finding : channel["findings"].elements()) {
    if (finding["severity"].text() != "note") text += word_in(finding["text"]);
  }
  return text.empty() ? " no fault found" : text;
}

// A channel that the entry is about is not named once more.
std::string channel_name(const JsonView& channel, const std::string& subject) {
  const std::string name = word_in(channel["name"]);
  if (!subject.empty() && channel["name"].text() == subject) return "";
  if (!name.empty()) return name.substr(1) + ':';
  const auto number = channel["channel"].integer();
  return number ? "channel " + std::to_string(*number) + ':' : "";
}

/// Whose the vehicle is, by an entry of the kind "job".
std::string job_text(const JsonView& result) {
  std::string text;
  for (const char* key : {"vehicle", "owner", "installer", "date"}) {
    const std::string value = result[key].text();
    if (!value.empty())
      text += (text.empty() ? " " : ", ") + std::string(key) + ' ' + visible(value);
  }
  return text;
}

std::string result_text(const JsonView& result, const std::string& subject) {
  if (!result["channels"].is_list()) return main_numbers(result);
  std::string text;
  for (const JsonView& channel : result["channels"].elements()) {
    if (!channel.is_object()) continue;
    const std::string name = channel_name(channel, subject);
    text += (text.empty() ? "" : ";") + (name.empty() ? "" : " " + name) + main_numbers(channel) +
            findings_text(channel);
  }
  return text;
}

std::string padded(std::string text, std::size_t width) {
  text.resize(std::max(text.size(), width), ' ');
  return text;
}

std::string belongs_to(const RecordEntry& entry) {
  std::string text;
  for (const std::string& word : std::array{entry.subject, entry.stage, entry.moment}) {
    if (!word.empty()) text += (text.empty() ? "" : ", ") + visible(word);
  }
  return text;
}

std::string line_of(const RecordEntry& entry) {
  constexpr std::size_t time_width = 22;
  constexpr std::size_t kind_width = 13;
  std::string text =
      padded(visible(entry.time), time_width) + padded(visible(entry.kind) + ' ', kind_width);
  const std::string subject = belongs_to(entry);
  const JsonView document(entry.result);
  const std::string result =
      entry.kind == "job" ? job_text(document) : result_text(document, entry.subject);
  text += subject.empty() || result.empty() ? subject : subject + ':';
  text += subject.empty() && !result.empty() ? result.substr(1) : result;
  while (text.back() == ' ') text.pop_back();
  text += '\n';
  if (entry.note.empty()) return text;
  return text + std::string(time_width, ' ') + visible(entry.note) + '\n';
}

}  // namespace

std::string record_text(const system::JobRecord& record, std::size_t first) {
  std::string text = visible(record.name) + ", begun " + visible(record.created) + ": " +
                     std::to_string(record.entries.size()) +
                     (record.entries.size() == 1 ? " entry" : " entries") +
                     (record.system.is_null() ? ", no described system\n" : "\n");
  for (std::size_t i = first; i < record.entries.size(); ++i) text += line_of(record.entries[i]);
  return text;
}

}  // namespace railtap::report
