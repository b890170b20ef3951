// SPDX-License-Identifier: MIT
// From a measured channel to its verdict.
#include "judge/analysis.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "judge/sentence.hpp"
#include "judge/turning.hpp"

namespace railtap::judge {
namespace {

using measure::ChannelRecording;
using measure::Segment;

// Of what is not silent; with less tone than that it is music or speech.
constexpr double least_tone_share = 0.5;

// Of a file without codes: the finest step that a converter behind it may have had.
constexpr double step_of_float = 1.0 / 8388608.0;

bool over_full_scale(const ChannelRecording& recording, double step, const Segment* tone,
                     Hertz rate) {
  // A float file mostly holds what 16 bits recorded.
  const double coarse = std::max(step, 1.0 / 32768.0);
  const std::int64_t innocent =
      tone == nullptr
          ? measure::longest_innocent_run_in_music
          : measure::longest_innocent_run(recording.full_scale.positive_limit < 1.0 ? step : coarse,
                                          1.0, tone->measurement.series.fundamental, rate);
  return recording.full_scale.longest > innocent;
}

// Noise from the medians around the harmonics, RMS over the whole bandwidth in full scales: lines,
// and the aliases of a clip that was made of numbers, are not in it.
double noise_floor(const Segment& tone) {
  std::vector<double> sigma = tone.measurement.series.sigma;
  if (sigma.empty()) return 0.0;
  const auto middle = sigma.begin() + static_cast<std::ptrdiff_t>(sigma.size() / 2);
  std::nth_element(sigma.begin(), middle, sigma.end());
  // A component's variance is 2/N of the noise's, N the samples that were measured.
  const auto samples = static_cast<double>(tone.measurement.frames);
  return *middle * std::sqrt(0.5 * samples);
}

// Flat tops at exactly one code below full scale: an input that limits before its converter does,
// or a file turned down after it was clipped. What comes before the capture cannot do that, as the
// capture's own noise would have moved some of the samples.
bool at_one_code(const ChannelRecording& recording, double step, const Segment* tone, Hertz rate) {
  // Natural peaks of one waveform hardly share their highest code; in music, two runs there do not
  // come about by chance. Very low levels have few codes to go round.
  constexpr std::int64_t least_runs = 2;
  constexpr double least_codes = 256.0;
  const measure::FlatSide& high = recording.flat.high();
  const measure::FlatSide& low = recording.flat.low();
  const measure::FlatSide& flattest = high.longest >= low.longest ? high : low;
  const double peak = std::abs(flattest.value);
  if (peak < least_codes * step || flattest.runs < least_runs) return false;
  if (tone == nullptr) return flattest.longest > measure::longest_innocent_run_in_music;
  // Float files have no codes, and a plateau without any noise around it proves nothing: no card is
  // quieter than -106 dBFS.
  constexpr double quietest_card = 5e-6;
  const double noise_rms = noise_floor(*tone);
  if (recording.full_scale.positive_limit >= 1.0 || noise_rms < quietest_card) return false;
  return flattest.longest > measure::longest_innocent_run(
                                step, peak, tone->measurement.series.fundamental, rate) &&
         measure::noise_would_show(noise_rms, step, flattest.longest);
}

InputOverload overload_of(const ChannelRecording& recording, const Segment* tone, Hertz rate) {
  const bool coded = recording.full_scale.positive_limit < 1.0;
  const double stored = coded ? 1.0 - recording.full_scale.positive_limit : step_of_float;
  // The crest of a sine of few codes stays at its highest code for long, whatever the file could
  // hold.
  const double step = std::max(stored, recording.code_step.value_or(0.0));
  InputOverload overload{over_full_scale(recording, step, tone, rate), recording.full_scale.samples,
                         recording.full_scale.longest};
  if (overload.present || !at_one_code(recording, step, tone, rate)) return overload;
  overload.present = true;
  overload.longest_run = recording.flat.longest();
  overload.samples_at_ceiling = recording.flat.samples();
  overload.ceiling = std::max(recording.flat.high().value, -recording.flat.low().value);
  return overload;
}

std::optional<PeakRuns> peak_runs(const measure::FlatSide& side) {
  if (side.value == 0.0) return std::nullopt;
  return PeakRuns{dbfs_from_sine_peak(std::abs(side.value)), side.samples, side.longest};
}

Seconds seconds(std::int64_t frames, Hertz rate) {
  return Seconds(static_cast<double>(frames) / rate.value());
}

int severity(Verdict verdict) {
  switch (verdict) {
    case Verdict::unusable:
      return 6;
    case Verdict::input_overload:
      return 5;
    case Verdict::clipped:
      return 4;
    case Verdict::distorted:
      return 3;
    case Verdict::clean:
      return 2;
    case Verdict::no_tone:
      return 1;
    case Verdict::no_signal:
      return 0;
  }
  return 6;
}

struct Shares {
  std::int64_t tone = 0;
  std::int64_t loud = 0;  // frames that are not silent
  const Segment* longest_tone = nullptr;
  const Segment* longest_other = nullptr;
};

Shares shares_of(const ChannelRecording& recording) {
  const auto longer = [](const Segment& s, const Segment* than) {
    return than == nullptr || s.end_frame - s.first_frame > than->end_frame - than->first_frame;
  };
  Shares shares;
  std::int64_t silent = 0;
  for (const Segment& s : recording.segments) {
    const std::int64_t length = s.end_frame - s.first_frame;
    if (is_tone(s)) {
      shares.tone += length;
      if (longer(s, shares.longest_tone)) shares.longest_tone = &s;
    } else {
      if (is_silence(s)) silent += length;
      if (longer(s, shares.longest_other)) shares.longest_other = &s;
    }
  }
  shares.loud = recording.figures.frames - silent;
  return shares;
}

// Where a damaged recording could still be measured.
std::string sound_part(const ChannelRecording& recording, Hertz rate) {
  constexpr Seconds worth_it{0.5};
  const Seconds start = seconds(recording.sound_first, rate);
  const Seconds end = seconds(recording.sound_end, rate);
  if (end - start < worth_it) return "";
  return sentence(" Measure its longest good part with --part %.1fs..%.1fs.", start.value(),
                  end.value());
}

Findings unusable(std::string reason) {
  Findings f;
  f.verdict = Verdict::unusable;
  f.reasons.push_back(std::move(reason));
  return f;
}

// Of two segments with one verdict, the one that is farther over; without flat tops, the one with
// more distortion.
bool is_worse(const Findings& a, const Findings& b) {
  const auto rank = [](const Findings& f) {
    return std::tuple(severity(f.verdict), larger_overdrive(f.flat_top), f.thdn);
  };
  return rank(a) > rank(b);
}

// The worst segment's verdict for the whole. \returns that segment; null where the findings' own
// verdict is as bad
const Segment* take_worst(Findings& whole, const std::vector<SegmentFindings>& segments,
                          const ChannelRecording& recording) {
  std::optional<std::size_t> worst;
  for (std::size_t i = 0; i < segments.size(); ++i) {
    if (severity(segments[i].findings.verdict) <= severity(whole.verdict)) continue;
    if (!worst || is_worse(segments[i].findings, segments[*worst].findings)) worst = i;
  }
  if (!worst) return nullptr;
  const SegmentFindings& segment = segments[*worst];
  whole.verdict = segment.findings.verdict;
  whole.reasons.push_back(
      sentence("From %.1f s to %.1f s: ", segment.start.value(), segment.end.value()) +
      (segment.findings.reasons.empty() ? name(segment.findings.verdict)
                                        : segment.findings.reasons.front()));
  return &recording.segments[*worst];
}

// Whether tones follow each other that are ever louder: where clipping begins can be read off them.
bool rises(const std::vector<SegmentFindings>& segments) {
  constexpr Decibels least_rise{0.5};  // half of the finest ladder in common practice
  constexpr int least_rises = 3;
  int rises = 0;
  std::optional<Dbfs> before;
  for (const SegmentFindings& segment : segments) {
    if (!segment.findings.thdn) continue;  // no tone
    if (before && *segment.findings.level - *before >= least_rise && ++rises >= least_rises)
      return true;
    before = segment.findings.level;
  }
  return false;
}

// A flat top lower than two codes can be the rounding's: the crest of any sine stays at its highest
// code for a while.
FlatTops tops_of(const Segment& segment, const ChannelRecording& recording, Hertz rate,
                 const Limits& limits) {
  if (!segment.clip || !recording.code_step) return FlatTops::cut;
  constexpr double least_codes = 2.0;
  const auto codes = [&](const measure::RailOverdrive& side) {
    if (!side.flat) return 0.0;
    const double cut = 1.0 - 1.0 / amplitude_ratio(side.overdrive);
    return cut * segment.clip->amplitude_fs / *recording.code_step;
  };
  if (!segment.clip->positive.flat && !segment.clip->negative.flat) return FlatTops::cut;
  const bool rounded =
      is_rounding(segment, recording, rate, limits) ||
      std::max(codes(segment.clip->positive), codes(segment.clip->negative)) < least_codes;
  return rounded ? FlatTops::rounding : FlatTops::cut;
}

Findings judge_part(const Segment& segment, const ChannelRecording& recording,
                    const InputOverload& overload, Hertz rate, const Limits& limits) {
  return judge_segment(segment, overload, limits, tops_of(segment, recording, rate, limits));
}

// As the first of the reasons: rails have none then.
void keep_question(Findings& f) {
  if (f.question) f.reasons.insert(f.reasons.begin(), *f.question);
}

// Rails that only the filters behind them hid: the verdict is as for flat tops that are seen.
void take_filtered_rails(Findings& f, const measure::ShapeFit& shape) {
  constexpr Decibels least{0.1};  // of overdrive: less is not claimed through a filter
  const auto over = [&](const std::optional<Decibels>& side) {
    return side && *side >= least ? side : std::nullopt;
  };
  const auto positive = over(shape.over_positive);
  const auto negative = over(shape.over_negative);
  if (!positive && !negative) return;
  f.flat_top.present = true;
  f.flat_top.overdrive_positive = positive;
  f.flat_top.overdrive_negative = negative;
  f.flat_top.model_residual = shape.misfit;
  if (!f.input_overload.present) f.verdict = Verdict::clipped;
}

// Rails with filters behind them have more to adjust than a clipped sine: where that explains the
// harmonics as well, its figures stay.
bool explains_better(const measure::ShapeFit& shape, const FlatTop& clipped_sine) {
  return !clipped_sine.present || !clipped_sine.model_residual ||
         shape.misfit < *clipped_sine.model_residual;
}

// What is wrong, from the segment that decided the verdict.
void add_cause(Findings& whole, const ChannelRecording& recording, const Segment& segment,
               const InputOverload& overload, Hertz rate, const Limits& limits,
               WaveformMemory* memory) {
  Findings f = judge_part(segment, recording, overload, rate, limits);
  const bool rounding = is_rounding(segment, recording, rate, limits);
  const auto shape = rounding ? std::nullopt : shape_in_question(segment, memory);
  const bool hidden =
      shape && shape->shape == measure::WaveShape::rails && explains_better(*shape, f.flat_top);
  if (hidden) take_filtered_rails(f, *shape);
  if (!rounding || f.flat_top.present) f.clipped = is_clipped(segment, f, shape);
  whole.clipped = f.clipped;
  if (f.clipped) whole.question.reset();  // the shape did tell
  whole.cause = cause_of_tone(recording, segment, f, shape, rate, limits, memory);
  if (hidden && f.verdict == Verdict::clipped) {
    whole.verdict = Verdict::clipped;
    whole.flat_top = f.flat_top;
  }
}

void add_interruptions(ChannelAnalysis& analysis, const ChannelRecording& recording, Hertz rate) {
  analysis.interruption_count = recording.disturbances.count();
  for (const measure::Disturbance& d : recording.disturbances.listed) {
    analysis.interruptions.push_back(
        {d.kind, seconds(d.first_frame, rate), seconds(d.frames, rate)});
  }
}

}  // namespace

const char* name(measure::DisturbanceKind kind) {
  switch (kind) {
    case measure::DisturbanceKind::gap:
      return "gap";
    case measure::DisturbanceKind::click:
      return "click";
    case measure::DisturbanceKind::jump:
      return "jump";
  }
  return "click";
}

ChannelAnalysis judge_channel(int channel, const ChannelRecording& recording, Hertz rate,
                              const Limits& limits, WaveformMemory* memory) {
  ChannelAnalysis analysis;
  analysis.channel = channel;
  if (recording.figures.non_finite > 0) {
    analysis.findings =
        unusable((recording.figures.non_finite == 1
                      ? std::string("1 sample is not a number (NaN or infinity)")
                      : sentence("%.0f samples are not numbers (NaN or infinity)",
                                 static_cast<double>(recording.figures.non_finite))) +
                 "; the recording is damaged." + sound_part(recording, rate));
    return analysis;
  }
  const Shares shares = shares_of(recording);
  const bool tone =
      shares.longest_tone != nullptr &&
      static_cast<double>(shares.tone) >= least_tone_share * static_cast<double>(shares.loud);
  const InputOverload overload = overload_of(recording, tone ? shares.longest_tone : nullptr, rate);

  if (recording.segments.size() > 1) {
    for (const Segment& s : recording.segments) {
      analysis.segments.push_back({seconds(s.first_frame, rate), seconds(s.end_frame, rate),
                                   judge_part(s, recording, overload, rate, limits)});
    }
    analysis.level_rises = rises(analysis.segments);
    const auto tones = std::count_if(recording.segments.begin(), recording.segments.end(), is_tone);
    if (tone && tones > 1) {
      const Segment& longest = *shares.longest_tone;
      analysis.figures_of = {seconds(longest.first_frame, rate), seconds(longest.end_frame, rate)};
    }
  }
  if (tone) {
    analysis.findings = judge_part(*shares.longest_tone, recording, overload, rate, limits);
    const Segment* worst = take_worst(analysis.findings, analysis.segments, recording);
    add_cause(analysis.findings, recording, worst ? *worst : *shares.longest_tone, overload, rate,
              limits, memory);
    keep_question(analysis.findings);
  } else {
    const auto* other = shares.longest_other;
    const bool noise_holds = other != nullptr && recording.segments.size() == 1;
    analysis.findings =
        judge_other(recording.figures, noise_holds ? &other->measurement : nullptr, limits);
    analysis.findings.input_overload = overload;
    analysis.findings.cause = cause_without_tone(recording, analysis.findings, rate);
    if (overload.present) {
      analysis.findings.verdict = Verdict::input_overload;
      analysis.findings.reasons.push_back(overload_sentence(overload));
    }
  }
  for (SegmentFindings& segment : analysis.segments) keep_question(segment.findings);
  add_interruptions(analysis, recording, rate);
  analysis.findings.peak_positive = peak_runs(recording.flat.high());
  analysis.findings.peak_negative = peak_runs(recording.flat.low());
  return analysis;
}

bool within_limits(const std::vector<ChannelAnalysis>& channels) {
  return std::none_of(channels.begin(), channels.end(), [](const ChannelAnalysis& channel) {
    const Verdict v = channel.findings.verdict;
    return v == Verdict::clipped || v == Verdict::distorted || v == Verdict::input_overload ||
           v == Verdict::unusable;
  });
}

}  // namespace railtap::judge
