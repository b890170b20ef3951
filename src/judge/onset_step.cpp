// SPDX-License-Identifier: MIT
// One measured step of a ladder, judged and described by itself.
#include "judge/onset_step.hpp"

#include "judge/onset_points.hpp"

namespace railtap::judge {
namespace {

using measure::MeasuredStep;

constexpr Dbfs full_scale_peak{-0.005};

}  // namespace

Findings judge_step(const MeasuredStep& measured, Hertz rate, const Limits& limits) {
  measure::Segment segment;
  segment.first_frame = measured.step.inner_first;
  segment.end_frame = measured.step.inner_end;
  segment.figures = measured.figures;
  segment.measurement = measured.block;
  segment.clip = measured.clip;
  segment.blocks = 1;
  measure::ChannelRecording recording;
  recording.figures = measured.figures;
  recording.full_scale = measured.full_scale;
  recording.flat = measured.flat;
  if (measured.block.frames > 0) recording.segments.push_back(std::move(segment));
  Findings findings = judge_channel(1, recording, rate, limits).findings;
  // A rail that lies at digital full scale is the recording's own, even where it is touched so
  // lightly that a clean sine could do the same.
  if (findings.verdict == Verdict::clipped && findings.peak && *findings.peak >= full_scale_peak)
    findings.verdict = Verdict::input_overload;
  return findings;
}

OnsetStep describe_step(const MeasuredStep& measured, Hertz rate,
                        const std::optional<LadderInput>& input, const Limits& limits) {
  OnsetStep step;
  step.index = measured.step.index + 1;
  step.start = Seconds(static_cast<double>(measured.step.first) / rate.value());
  step.end = Seconds(static_cast<double>(measured.step.end) / rate.value());
  const Findings findings = judge_step(measured, rate, limits);
  step.verdict = findings.verdict;
  step.level = findings.level;
  step.level_v = findings.level_v;
  step.thdn = findings.thdn;
  step.overdrive_positive = findings.flat_top.overdrive_positive;
  step.overdrive_negative = findings.flat_top.overdrive_negative;
  if (input && input->first) step.input = *input->first + input->rise * measured.step.index;
  if (step.input && measured.block.tone) {
    const double tone = criteria::level_db(measured.block.fundamental + measured.block.harmonics);
    step.gain = Decibels(tone - step.input->value());
  }
  return step;
}

}  // namespace railtap::judge
