// SPDX-License-Identifier: MIT
// Which of two stages clips first.
#include "judge/stage.hpp"

#include <algorithm>
#include "judge/turning.hpp"

#include "units/print.hpp"

namespace railtap::judge {
namespace {

constexpr double added_distortion = 2.0;  // times the THD+N that came in, where nothing is flat

Decibels overdrive(const OnsetStep& step) {
  return larger_overdrive(step).value_or(Decibels(0.0));
}

bool dirty(const OnsetStep& step) {
  return step.verdict == Verdict::clipped || step.verdict == Verdict::distorted;
}

bool holds_tone(const OnsetStep& step) {
  return dirty(step) || step.verdict == Verdict::clean;
}

const OnsetStep* matching(const ChannelOnset& onset, int index) {
  const auto at = std::find_if(onset.steps.begin(), onset.steps.end(),
                               [&](const OnsetStep& s) { return s.index == index; });
  return at == onset.steps.end() || !holds_tone(*at) ? nullptr : &*at;
}

// The lowest step of those at the top that are not clean: noise in soft steps is no clipping.
std::optional<int> first_dirty(const ChannelOnset& onset) {
  std::vector<const OnsetStep*> steps;
  for (const OnsetStep& step : onset.steps) {
    if (holds_tone(step) && step.level) steps.push_back(&step);
  }
  std::stable_sort(steps.begin(), steps.end(),
                   [](const auto* a, const auto* b) { return *a->level < *b->level; });
  std::optional<int> first;
  for (std::size_t i = steps.size(); i > 0 && dirty(*steps[i - 1]); --i) {
    first = steps[i - 1]->index;
  }
  const bool all = first && !steps.empty() && *first == steps.front()->index;
  return all && steps.front()->verdict == Verdict::distorted ? std::nullopt : first;
}

bool adds(const StageStep& step, const OnsetStep& after, Decibels limit) {
  if (after.verdict == Verdict::clean) return false;
  if (step.after > Decibels(0.0)) return step.added > limit;
  return step.thdn_before && step.thdn_after &&
         *step.thdn_after > *step.thdn_before * added_distortion;
}

FirstStage decide(const StageComparison& c) {
  if (c.steps.empty()) return FirstStage::unknown;
  if (!c.first_step_before) {
    return c.first_step_added ? FirstStage::amplifier : FirstStage::none;
  }
  if (!c.first_step_added || *c.first_step_added > *c.first_step_before) return FirstStage::source;
  return *c.first_step_added < *c.first_step_before ? FirstStage::amplifier : FirstStage::both;
}

std::string step_name(int index) {
  return "step " + std::to_string(index);
}

std::string sentence_of(const StageComparison& c) {
  switch (c.first) {
    case FirstStage::source: {
      std::string text = "The source clips first, from " + step_name(*c.first_step_before) +
                         " on, and the amplifier passes it on";
      text += c.first_step_added
                  ? "; from " + step_name(*c.first_step_added) + " on it adds clipping of its own."
                  : " without adding to it: turn the source down, not the amplifier.";
      return text;
    }
    case FirstStage::amplifier: {
      std::string text =
          "The amplifier clips first, from " + step_name(*c.first_step_added) + " on";
      text += c.first_step_before
                  ? "; the source follows at " + step_name(*c.first_step_before) + "."
                  : ", while what it is given stays clean: turn its gain down.";
      return text;
    }
    case FirstStage::both:
      return "Source and amplifier both clip from " + step_name(*c.first_step_before) + " on.";
    case FirstStage::none:
      return "Neither the source nor the amplifier clips in these steps.";
    case FirstStage::unknown:
      break;
  }
  return "The two recordings have no steps in common, so the stages cannot be told apart.";
}

}  // namespace

StageComparison compare_stages(const ChannelOnset& before, const ChannelOnset& after,
                               Decibels added_limit) {
  StageComparison comparison;
  comparison.first_step_before = first_dirty(before);
  comparison.first_step_after = first_dirty(after);
  for (const OnsetStep& out : after.steps) {
    const OnsetStep* in = matching(before, out.index);
    if (in == nullptr || !holds_tone(out)) continue;
    StageStep step{out.index, overdrive(*in), overdrive(out), Decibels(0.0), in->thdn, out.thdn};
    step.added = std::max(Decibels(0.0), step.after - step.before);
    comparison.steps.push_back(step);
    const bool high = comparison.first_step_after && out.index >= *comparison.first_step_after;
    if (high && !comparison.first_step_added && adds(step, out, added_limit)) {
      comparison.first_step_added = out.index;
    }
  }
  comparison.first = decide(comparison);
  comparison.sentence = sentence_of(comparison);
  return comparison;
}

const char* name(FirstStage stage) {
  switch (stage) {
    case FirstStage::source:
      return "source";
    case FirstStage::amplifier:
      return "amplifier";
    case FirstStage::both:
      return "both";
    case FirstStage::none:
      return "none";
    case FirstStage::unknown:
      return "unknown";
  }
  return "unknown";
}

}  // namespace railtap::judge
