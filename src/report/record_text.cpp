// SPDX-License-Identifier: MIT
// What a job's record holds, an entry a line.
#include "report/record_text.hpp"

#include <algorithm>
#include <array>
#include <string_view>

#include "report/printable.hpp"
#include "units/print.hpp"
#include "units/quantity.hpp"

namespace railtap::report {
namespace {

using system::Json;
using system::RecordEntry;

template <class Q>
std::string quantity_at(const Json& object, const char* key) {
  const auto found = object.find(key);
  if (found == object.end() || !found->is_number()) return {};
  return ' ' + format_quantity(Q(found->template get<double>()), 4, Zeros::keep);
}

std::string word_at(const Json& object, const char* key) {
  const auto found = object.find(key);
  if (found == object.end() || !found->is_string()) return {};
  return ' ' + printable(found->get<std::string>());
}

/// The few keys of our documents that say most; whoever wants more reads the JSON.
std::string main_numbers(const Json& object) {
  if (!object.is_object()) return {};
  std::string text = word_at(object, "verdict") + quantity_at<Volts>(object, "level_v") +
                     quantity_at<Volts>(object, "volts_per_full_scale") +
                     quantity_at<Volts>(object, "target_v") +
                     quantity_at<Volts>(object, "reading_v");
  const std::string thdn = quantity_at<Percent>(object, "thdn_percent");
  return thdn.empty() ? text : text + ", THD+N" + thdn;
}

/// What a verification found against a channel; empty for other results.
std::string findings_text(const Json& channel) {
  const auto findings = channel.find("findings");
  if (findings == channel.end() || !findings->is_array()) return {};
  std::string text;
  for (const Json& finding : *findings) {
    if (finding.is_object() && word_at(finding, "severity") != " note")
      text += word_at(finding, "text");
  }
  return text.empty() ? " nothing stands against it" : text;
}

std::string channel_name(const Json& channel) {
  const auto number = channel.find("channel");
  if (number != channel.end() && number->is_number_integer())
    return "channel " + number->dump() + ':';
  return word_at(channel, "name").empty() ? "" : word_at(channel, "name").substr(1) + ':';
}

std::string result_text(const Json& result) {
  if (!result.is_object()) return {};
  const auto channels = result.find("channels");
  if (channels == result.end() || !channels->is_array()) return main_numbers(result);
  std::string text;
  for (const Json& channel : *channels) {
    if (!channel.is_object()) continue;
    text += (text.empty() ? " " : "; ") + channel_name(channel) + main_numbers(channel) +
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
    if (!word.empty()) text += (text.empty() ? "" : ", ") + printable(word);
  }
  return text;
}

std::string line_of(const RecordEntry& entry) {
  constexpr std::size_t time_width = 22;
  constexpr std::size_t kind_width = 13;
  std::string text =
      padded(printable(entry.time), time_width) + padded(printable(entry.kind) + ' ', kind_width);
  const std::string subject = belongs_to(entry);
  const std::string result = result_text(entry.result);
  text += subject.empty() || result.empty() ? subject : subject + ':';
  text += subject.empty() && !result.empty() ? result.substr(1) : result;
  while (text.back() == ' ') text.pop_back();
  text += '\n';
  if (entry.note.empty()) return text;
  return text + std::string(time_width, ' ') + printable(entry.note) + '\n';
}

}  // namespace

std::string record_text(const system::JobRecord& record) {
  std::string text = printable(record.name) + ", begun " + printable(record.created) + ": " +
                     std::to_string(record.entries.size()) +
                     (record.entries.size() == 1 ? " entry" : " entries") +
                     (record.system.is_null() ? ", no described system\n" : "\n");
  for (const RecordEntry& entry : record.entries) text += line_of(entry);
  return text;
}

}  // namespace railtap::report
