// SPDX-License-Identifier: MIT
// What several parts of the sheet share: names, times, the volume mark.
#include <algorithm>
#include <array>
#include <cctype>
#include <ctime>

#include "report/markup.hpp"
#include "report/sheet/parts.hpp"
#include "report/words.hpp"

namespace railtap::report {
namespace {

/// "2026-11-25T16:10:00Z", as the record writes it.
bool is_time(const std::string& text) {
  const std::string shape = "dddd-dd-ddTdd:dd:ddZ";
  if (text.size() != shape.size()) return false;
  return std::equal(text.begin(), text.end(), shape.begin(), [](char c, char s) {
    return s == 'd' ? std::isdigit(static_cast<unsigned char>(c)) != 0 : c == s;
  });
}

/// The record's time on the clock of the place where the sheet is made. \param format of strftime
std::string local(const std::string& utc, const char* format) {
  const auto digits = [&](std::size_t at, std::size_t count) {
    return std::stoi(utc.substr(at, count));
  };
  std::tm parts{};
  parts.tm_year = digits(0, 4) - 1900;
  parts.tm_mon = digits(5, 2) - 1;
  parts.tm_mday = digits(8, 2);
  parts.tm_hour = digits(11, 2);
  parts.tm_min = digits(14, 2);
  parts.tm_sec = digits(17, 2);
  const std::time_t moment = timegm(&parts);
  std::tm here{};
  if (localtime_r(&moment, &here) == nullptr) return utc;
  std::array<char, 64> text{};
  const std::size_t length = std::strftime(text.data(), text.size(), format, &here);
  return length > 0 ? std::string(text.data(), length) : utc;
}

std::string time_as(const JsonView& time, const char* format) {
  const std::string text = time.text();
  if (text.empty()) return "<span class=\"unknown\">time unknown</span>";
  if (!is_time(text)) return isolated(shortened(text, longest_label));
  return "<time datetime=\"" + text + "\">" + escaped(local(text, format)) + "</time>";
}

}  // namespace

std::string row_name_html(const RecordRow& row) {
  std::string name = row.subject.empty() ? std::string(row.source ? "head unit" : "unnamed output")
                                         : isolated(shortened(row.subject, longest_label));
  if (row.alone || !row.number.known()) return name;
  return name + ", channel " + marked(plain(row.number));
}

JsonView last_time(const JsonView& record) {
  const std::size_t count = record["entries"].size();
  return count == 0 ? record["created"] : record["entries"][count - 1]["time"];
}

std::string time_html(const JsonView& time) {
  return time_as(time, "%Y-%m-%d %H:%M");
}

std::string day_html(const JsonView& time) {
  return time_as(time, "%Y-%m-%d");
}

std::string volume_box(const JsonView& record) {
  const VolumeLimit limit = volume_limit(record);
  std::string out = "<p class=\"limit\"><span class=\"label\">Volume mark</span> ";
  if (!limit.step.known() && limit.level_v.known()) {
    return out + "<b>" + marked(volts(limit.level_v)) +
           "</b> <span class=\"label\">its number is not noted here</span></p>\n";
  }
  if (!limit.step.known()) return out + "<b class=\"unknown\">not measured</b></p>\n";
  out += "<b>" + marked(plain(limit.step)) + "</b>";
  if (limit.steps.known()) out += " of " + marked(plain(limit.steps));
  if (limit.level_v.known())
    out += " <span class=\"label\">" + marked(volts(limit.level_v)) + "</span>";
  return out + "</p>\n";
}

}  // namespace railtap::report
