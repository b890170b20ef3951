// SPDX-License-Identifier: MIT
// What a ladder lacks: steps that are not in the recording, also among steps that a rail holds, an
// output that went silent, and how far its steps can be numbered.
#include "judge/ladder_gaps.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "units/print.hpp"

namespace railtap::judge {

// Steps cut out of a ladder among steps that a rail holds, found by how the distortion grows.

namespace {

using measure::AlignedLadder;
using measure::MeasuredStep;
using measure::Numbering;

std::optional<double> overdrive_of(const MeasuredStep& step) {
  constexpr double least_db = 1.0;
  if (!step.clip || !step.clip->explained) return std::nullopt;
  const double over =
      std::max(step.clip->positive.overdrive, step.clip->negative.overdrive).value();
  return over >= least_db ? std::optional(over) : std::nullopt;
}

// How many steps are missing between each step and the one before; none where it cannot be told.
std::vector<std::optional<int>> gaps_of(const std::vector<MeasuredStep>& steps, double rise_db) {
  constexpr double off = 0.2;  // of the rise
  std::vector<std::optional<int>> gaps(steps.size());
  for (std::size_t i = 1; i < steps.size(); ++i) {
    const auto before = overdrive_of(steps[i - 1]);
    const auto here = overdrive_of(steps[i]);
    if (!before || !here) continue;
    const double rises = (*here - *before) / rise_db;
    const int extra =
        static_cast<int>(std::lround(rises)) - (steps[i].step.index - steps[i - 1].step.index);
    if (extra >= 0 && std::abs(rises - std::round(rises)) <= off) gaps[i] = extra;
  }
  return gaps;
}

// The steps from `place` on move away from those before it. Of a ladder that is numbered from its
// end those before it move.
void open_gap(std::vector<MeasuredStep>& steps, AlignedLadder& ladder, std::size_t place, int extra,
              int planned) {
  const int at = steps[place].step.index;
  const bool from_end = ladder.numbering == Numbering::end;
  const auto moved = [&](int index) {
    if (from_end) return index < at ? index - extra : index;
    return index >= at ? index + extra : index;
  };
  for (MeasuredStep& step : steps) step.step.index = moved(step.step.index);
  for (measure::Step& step : ladder.steps) step.index = moved(step.index);
  for (measure::MissingStep& step : ladder.missing) step.index = moved(step.index);
  std::erase_if(ladder.missing, [&](const auto& step) {
    return step.index < 0 || (planned > 0 && step.index >= planned);
  });
  for (int k = 0; k < extra; ++k) {
    const int index = (from_end ? at - extra : at) + k;
    ladder.missing.push_back({index, measure::Absence::skipped});
    ladder.by_distortion.push_back(index);
  }
  if (ladder.muted) ladder.muted->after_index = moved(ladder.muted->after_index);
  ladder.grid = std::nullopt;
}

bool has_room(const std::vector<MeasuredStep>& steps, const AlignedLadder& ladder, int extra,
              int planned) {
  if (ladder.numbering == Numbering::end) return steps.front().step.index >= extra;
  return planned == 0 || steps.back().step.index + extra < planned;
}

}  // namespace

void place_by_distortion(std::vector<MeasuredStep>& steps, AlignedLadder& ladder, int planned) {
  constexpr int least_followed = 2;
  if (steps.empty() || ladder.rise_db == 0.0) return;
  const auto gaps = gaps_of(steps, ladder.rise_db);
  const auto followed = std::count(gaps.begin(), gaps.end(), std::optional(0));
  if (followed < least_followed) return;
  for (std::size_t i = 1; i < steps.size(); ++i) {
    const int extra = gaps[i].value_or(0);
    if (extra > 0 && has_room(steps, ladder, extra, planned)) {
      open_gap(steps, ladder, i, extra, planned);
    }
  }
  // The silence behind the last step is the ladder's end after all.
  if (!ladder.by_distortion.empty() && ladder.muted && !ladder.muted->amid_step &&
      ladder.muted->after_index + 1 == planned) {
    ladder.muted = std::nullopt;
  }
  std::sort(ladder.missing.begin(), ladder.missing.end(),
            [](const auto& a, const auto& b) { return a.index < b.index; });
}

// What a ladder lacks, in the onset's terms and in sentences.

namespace {

using measure::Absence;
using measure::AlignedLadder;
using measure::Numbering;

// "steps 3, 7 to 9 and 12"
std::string steps_text(const std::vector<int>& indices) {
  std::vector<std::string> runs;
  for (std::size_t i = 0; i < indices.size();) {
    std::size_t end = i + 1;
    while (end < indices.size() && indices[end] == indices[end - 1] + 1) ++end;
    std::string run = std::to_string(indices[i]);
    if (end - i == 2) run += " and " + std::to_string(indices[end - 1]);
    if (end - i > 2) run += " to " + std::to_string(indices[end - 1]);
    runs.push_back(run);
    i = end;
  }
  std::string text = indices.size() == 1 ? "step " : "steps ";
  for (std::size_t i = 0; i < runs.size(); ++i) {
    if (i > 0) text += i + 1 == runs.size() ? " and " : ", ";
    text += runs[i];
  }
  return text;
}

std::string is_missing(const std::vector<int>& indices) {
  return steps_text(indices) + (indices.size() == 1 ? " is missing" : " are missing");
}

std::string with_capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 32);
  return text;
}

// Those that are missing for one of the reasons, apart from those after the output went silent.
std::vector<int> missing_for(const ChannelOnset& onset, std::initializer_list<Absence> reasons) {
  std::vector<int> result;
  for (const MissingStep& step : onset.missing_steps) {
    const bool muted = onset.went_silent && step.index > onset.went_silent->after_step;
    if (!muted && std::find(reasons.begin(), reasons.end(), step.why) != reasons.end())
      result.push_back(step.index);
  }
  return result;
}

void add(ChannelOnset& onset, const std::vector<int>& steps, const std::string& why) {
  if (!steps.empty()) onset.reasons.push_back(with_capital(is_missing(steps)) + why);
}

// Steps at one level, whose distortion says nothing either, could be any of the last ones.
bool is_held(const ChannelOnset& onset) {
  constexpr double alike_db = 0.2;
  if (onset.steps.size() < 2) return false;
  const OnsetStep& last = onset.steps.back();
  const OnsetStep& before = onset.steps[onset.steps.size() - 2];
  const bool told = last.overdrive_positive || last.overdrive_negative;
  return !told && last.level && before.level &&
         std::abs((*last.level - *before.level).value()) < alike_db;
}

void tell_silence(ChannelOnset& onset, bool planned) {
  const WentSilent& silent = *onset.went_silent;
  std::string where = "step " + std::to_string(silent.after_step);
  if (silent.level_v) {
    where = format_quantity(*silent.level_v, 3);
  } else if (silent.level) {
    where = format_fixed(*silent.level, 2);
  }
  std::string text = "The output went silent at " + where + ", " + format_fixed(silent.at, 1) +
                     " into the recording, and stayed so: the amplifier's protection" +
                     (planned ? ", most likely" : ", where nobody stopped the player");
  std::vector<int> after;
  for (const MissingStep& step : onset.missing_steps) {
    if (step.index > silent.after_step) after.push_back(step.index);
  }
  if (!after.empty()) text += "; " + is_missing(after);
  if (!after.empty() && !silent.amid_step && is_held(onset)) {
    text += ", or as many among the last steps, which are at one level: that cannot be told";
  }
  onset.reasons.push_back(text + ".");
}

void tell_missing(ChannelOnset& onset) {
  add(onset, missing_for(onset, {Absence::before_start}),
      ": the recording starts later than the ladder.");
  add(onset, missing_for(onset, {Absence::after_end}),
      ": the recording ends sooner than the ladder.");
  add(onset, missing_for(onset, {Absence::silent}), ": in its place the recording is silent.");
  add(onset, missing_for(onset, {Absence::skipped}),
      ": the next step follows at once, so the step was not played, or not recorded.");
  add(onset, missing_for(onset, {Absence::cut_short}),
      ": too little of it is left to be measured.");
  add(onset, missing_for(onset, {Absence::not_found}), ": something else is in its place.");
}

void tell_placed(ChannelOnset& onset, const AlignedLadder& ladder) {
  std::vector<int> placed;
  for (const int index : ladder.by_distortion) placed.push_back(index + 1);
  if (placed.empty()) return;
  onset.reasons.push_back("The place of " + steps_text(placed) +
                          " is told by how the distortion grows, not by level: a rail holds the "
                          "steps around it at one level.");
}

void tell_numbering(ChannelOnset& onset, int planned) {
  const auto numbering = *onset.numbering;
  if (numbering == Numbering::unknown && planned > 0 && !onset.steps.empty()) {
    const int last = planned - (onset.steps.back().index - onset.steps.front().index);
    onset.reasons.push_back(
        "The recording holds neither the start nor the end of the ladder, so what was fed in is "
        "not "
        "known: its steps are counted from the first that is there, which may be any from step 1 "
        "to "
        "step " +
        std::to_string(last) + ". Levels and volts hold; record it with silence before or behind.");
  }
  if (numbering == Numbering::end) {
    onset.reasons.push_back(
        "Its steps are numbered from the last one back: the silence behind it is taken for the "
        "ladder's end.");
  }
}

// The level of the last step before it.
WentSilent silence_of(const ChannelOnset& onset, const measure::Muting& muted, Hertz rate) {
  WentSilent silent;
  silent.after_step = muted.after_index + 1;
  silent.amid_step = muted.amid_step;
  silent.at = Seconds(static_cast<double>(muted.at) / rate.value());
  for (const OnsetStep& step : onset.steps) {
    if (step.index > silent.after_step || !step.level) continue;
    silent.level = step.level;
    silent.level_v = step.level_v;
  }
  return silent;
}

}  // namespace

void tell_gaps(ChannelOnset& onset, const AlignedLadder& ladder,
               const std::optional<LadderInput>& input, int planned, Hertz rate) {
  onset.numbering = ladder.numbering;
  for (const auto& missing : ladder.missing) {
    MissingStep step{missing.index + 1, {}, missing.why};
    if (input && input->first) step.input = *input->first + input->rise * missing.index;
    onset.missing_steps.push_back(step);
  }
  if (ladder.muted) onset.went_silent = silence_of(onset, *ladder.muted, rate);
  if (onset.went_silent) tell_silence(onset, planned > 0);
  tell_missing(onset);
  tell_placed(onset, ladder);
  tell_numbering(onset, planned);
}

const char* name(Numbering numbering) {
  switch (numbering) {
    case Numbering::marker:
      return "marker";
    case Numbering::start:
      return "start";
    case Numbering::end:
      return "end";
    case Numbering::count:
      return "count";
    case Numbering::unknown:
      return "unknown";
  }
  return "unknown";
}

const char* name(Absence absence) {
  switch (absence) {
    case Absence::before_start:
      return "before-start";
    case Absence::after_end:
      return "after-end";
    case Absence::silent:
      return "silent";
    case Absence::skipped:
      return "skipped";
    case Absence::cut_short:
      return "cut-short";
    case Absence::not_found:
      return "not-found";
  }
  return "not-found";
}

}  // namespace railtap::judge
