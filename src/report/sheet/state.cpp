// SPDX-License-Identifier: MIT
// What a channel comes to, and what of it is still open.
#include <algorithm>
#include <cmath>

#include "electric/target.hpp"
#include "report/markup.hpp"
#include "report/sheet/parts.hpp"

namespace railtap::report {
namespace {

/// The sentence that says most: the cause, where one was found, else the first reason.
std::string why(const JsonView& channel) {
  const std::string cause = channel["cause"]["sentence"].text();
  if (!cause.empty()) return cause;
  return channel["reasons"][0].text();
}

bool is_off_target(const RecordRow& row) {
  const auto change = row.target["change_db"].number();
  if (!change) return false;
  const double tolerance = row.tolerance.number().value_or(electric::default_tolerance.value());
  return std::abs(*change) > tolerance;
}

void take_tone(RowState& state, const RecordRow& row) {
  const std::string verdict = row.reached["verdict"].text();
  if (verdict.empty()) {
    state.word = "not measured";
    state.open.emplace_back("its level was not measured");
  } else if (verdict != "clean") {
    state.word = shortened(verdict, longest_label);
    const std::string reason = why(row.reached);
    state.open.push_back(reason.empty() ? state.word : reason);
  } else if (is_off_target(row)) {
    state.word = "off target";
    state.open.emplace_back("its level is not within the tolerance of the target");
  }
}

void take_target(RowState& state, const RecordRow& row) {
  if (!row.target["target_v"].known()) state.open.emplace_back("no target is on record");
}

void take_verification(RowState& state, const RecordRow& row) {
  if (!row.verified.known()) {
    state.open.emplace_back("channel and polarity were not verified");
    return;
  }
  const auto faults = faults_of(row.verified);
  state.open.insert(state.open.end(), faults.begin(), faults.end());
  const bool miswired = is_miswired(row.verified);
  if (!miswired && faults.empty()) return;
  const std::string word = miswired ? "wiring" : "look again";
  state.word += (state.word.empty() ? "" : ", ") + word;
}

}  // namespace

bool is_miswired(const JsonView& verified) {
  if (verified["verdict"].text() == "wiring") return true;
  if (verified["polarity"]["verdict"].text() == "inverted") return true;
  const std::string carries = verified["identity"]["carries"].text();
  const std::string expected = verified["expected"].text();
  return carries == "silent" ||
         (!carries.empty() && carries != "cannot-tell" && !expected.empty() && carries != expected);
}

std::vector<std::string> faults_of(const JsonView& verified) {
  std::vector<std::string> faults;
  for (const JsonView& finding : verified["findings"].elements()) {
    if (finding["severity"].text() == "fault") faults.push_back(finding["text"].text());
  }
  return faults;
}

RowState state_of(const RecordRow& row) {
  RowState state;
  take_tone(state, row);
  take_target(state, row);
  take_verification(state, row);
  state.good = state.word.empty();
  if (state.good) state.word = "good";
  return state;
}

std::string gain_html(const RecordRow& row) {
  if (row.gain_percent.known()) return marked(travel(row.gain_percent));
  constexpr std::size_t longest_remark = 40;
  std::string found;
  for (const JsonView& entry : row.noted) {
    const std::string note = entry["note"].text();
    if (note.find("gain") != std::string::npos || note.find("Gain") != std::string::npos)
      found = isolated(shortened(note, longest_remark));
  }
  return found;
}

std::string verdict_html(const RecordRow& row) {
  const std::string verdict = row.reached["verdict"].text();
  const auto word = [](const std::string& text, bool good) {
    return "<span class=\"verdict " + std::string(good ? "good" : "bad") + "\">" +
           isolated(shortened(text, 30)) + "</span>";
  };
  std::string out;
  if (is_miswired(row.verified)) out = word("wiring", false);
  if (verdict.empty()) {
    return out.empty() ? "<span class=\"unknown\">not measured</span>" : out;
  }
  if (!out.empty() && verdict == "clean") return out;
  return (out.empty() ? "" : out + " ") + word(verdict, verdict == "clean");
}

}  // namespace railtap::report
