// SPDX-License-Identifier: MIT
// From measured numbers to verdicts.
#include "judge/analysis.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

namespace railtap::judge {
namespace {

using measure::BlockMeasurement;
using measure::ChannelRecording;
using measure::Segment;

// A sine at full scale has mean square 1/2 and is 0 dBFS [AES17-2015, 3.12].
constexpr double full_scale_sine_mean_square = 0.5;
// Without a tone, this much and less is silence: a played programme is not that soft, and an open
// input or the hiss of an amplifier behind its attenuator seldom is louder (common practice).
constexpr Dbfs silence_limit{-60.0};
constexpr int last_listed_order = 10;
constexpr double unsteady_level_db =
    0.1;  // a player's level holds to 0.01 dB; automatic gain does not
constexpr double least_tone_share =
    0.5;  // of what is not silent; less tone than that is music or speech
constexpr Decibels weakest_interference{
    -90.0};  // re the tone; weaker lines are any converter's own

Dbfs dbfs(double mean_square) {
  return Dbfs(10.0 * std::log10(mean_square / full_scale_sine_mean_square));
}

std::optional<Dbfs> known_dbfs(double mean_square) {
  if (!(mean_square > 0.0)) return std::nullopt;
  return dbfs(mean_square);
}

Volts rms_volts(Dbfs level, Volts volts_per_full_scale) {
  return volts_per_full_scale * (sine_peak(level) / std::numbers::sqrt2);
}

std::string text(const char* format, double a, double b = 0.0) {
  char buffer[256];
  std::snprintf(buffer, sizeof buffer, format, a, b);
  return buffer;
}

// Hum is a line within half a hertz of a multiple of the mains frequency; an alternator's ripple
// (36 a turn) lies at 1–6 kHz from idle to 3000/min with pulley ratios of 2.5–3 (check-values:
// order verified).
std::string kind_of_line(double hz) {
  constexpr double highest_hum_hz = 600.0;
  constexpr double hum_tolerance_hz = 0.5;
  for (const double mains : {50.0, 60.0}) {
    const double nearest = mains * std::round(hz / mains);
    if (nearest > 0.0 && hz < highest_hum_hz && std::abs(hz - nearest) < hum_tolerance_hz)
      return "hum";
  }
  return hz >= 1000.0 && hz <= 6000.0 ? "whine" : "tone";
}

std::vector<Interference> interference_of(const BlockMeasurement& m) {
  const double reference = m.tone ? m.fundamental : 0.0;
  std::vector<Interference> list;
  for (const auto& line : m.lines) {
    if (line.mean_square <= 0.0) continue;
    if (10.0 * std::log10(line.mean_square / (reference + 1e-30)) < weakest_interference.value())
      continue;
    list.push_back({line.frequency, dbfs(line.mean_square), kind_of_line(line.frequency.value())});
  }
  return list;
}

std::vector<HarmonicLevel> harmonics_of(const measure::HarmonicSeries& series) {
  std::vector<HarmonicLevel> list;
  const double fundamental = std::abs(series.phasor[0]);
  for (std::size_t k = 1; k < series.phasor.size() && k < last_listed_order; ++k) {
    const double amplitude = std::max(std::abs(series.phasor[k]), 1e-15 * fundamental);
    list.push_back({static_cast<int>(k + 1), decibels_from_amplitude_ratio(amplitude / fundamental),
                    std::arg(series.phasor[k]) * 180.0 / std::numbers::pi});
  }
  return list;
}

void add_levels(Findings& f, const measure::FrameFigures& figures, double mean_square,
                const Limits& limits) {
  const double peak = std::max(std::abs(figures.highest), std::abs(figures.lowest));
  const double dc = figures.frames > 0 ? figures.sum / static_cast<double>(figures.frames) : 0.0;
  const double ac_peak = std::max(std::abs(figures.highest - dc), std::abs(figures.lowest - dc));
  f.level = known_dbfs(mean_square);
  f.dc = Percent(100.0 * dc);
  if (peak > 0.0) f.peak = dbfs_from_sine_peak(peak);
  if (mean_square > 0.0 && ac_peak > 0.0) {
    f.crest_factor = decibels_from_amplitude_ratio(ac_peak / std::sqrt(mean_square));
  }
  if (f.level && limits.volts_per_full_scale)
    f.level_v = rms_volts(*f.level, *limits.volts_per_full_scale);
}

void add_noise(Findings& f, const BlockMeasurement& m, const Limits& limits) {
  f.noise = known_dbfs(m.noise);
  f.noise_a = known_dbfs(m.noise_a);
  if (f.noise_a && limits.volts_per_full_scale) {
    f.noise_a_v = rms_volts(*f.noise_a, *limits.volts_per_full_scale);
  }
}

void add_distortion(Findings& f, const BlockMeasurement& m) {
  const double whole = m.fundamental + m.residual;
  f.frequency = m.series.fundamental;
  f.thd = Percent(100.0 * std::sqrt(m.harmonics / m.fundamental));
  f.thdn = Percent(100.0 * std::sqrt(m.residual / whole));
  if (m.residual > 0.0) {
    f.thdn_db = decibels_from_power_ratio(m.residual / whole);
    f.sinad = -*f.thdn_db;
  }
  f.harmonics = harmonics_of(m.series);
}

void add_flat_top(Findings& f, const measure::ClippedSineFit& fit) {
  const auto rail = [](const measure::RailOverdrive& from, auto& overdrive, auto& uncertainty,
                       auto& plateau) {
    if (!from.flat) return;
    overdrive = from.overdrive;
    uncertainty = from.uncertainty;
    plateau = from.plateau;
  };
  rail(fit.positive, f.flat_top.overdrive_positive, f.flat_top.uncertainty_positive,
       f.flat_top.plateau_positive);
  rail(fit.negative, f.flat_top.overdrive_negative, f.flat_top.uncertainty_negative,
       f.flat_top.plateau_negative);
  f.flat_top.present = fit.positive.flat || fit.negative.flat;
  f.flat_top.model_residual = fit.residual_re_harmonics;
}

// Samples in a row at full scale that a clean sine of that very amplitude has: it stays within a
// code and a half of dither below its crest for an angle of acos(1 − 1.5·step) to each side.
std::int64_t longest_innocent_run(double step, Hertz frequency, Hertz rate) {
  const double angle = std::acos(std::max(-1.0, 1.0 - 1.5 * step));
  const double samples = angle / (std::numbers::pi * frequency.value()) * rate.value();
  return static_cast<std::int64_t>(std::ceil(samples)) + 1;
}

InputOverload overload_of(const ChannelRecording& recording, std::optional<Hertz> frequency,
                          Hertz rate) {
  constexpr double step_of_float =
      1.0 / 32768.0;                             // a float file mostly holds what 16 bits recorded
  constexpr std::int64_t innocent_in_music = 3;  // consecutive samples (common practice)
  const double step = recording.full_scale.positive_limit < 1.0
                          ? 1.0 - recording.full_scale.positive_limit
                          : step_of_float;
  const std::int64_t innocent =
      frequency ? longest_innocent_run(step, *frequency, rate) : innocent_in_music;
  return {recording.full_scale.longest > innocent, recording.full_scale.samples,
          recording.full_scale.longest};
}

std::string rail_sentence(const char* rail, Decibels overdrive, Decibels uncertainty) {
  return std::string("the ") + rail + " peaks are flat: the waveform would exceed that rail by " +
         text("%.2f dB (±%.2f dB).", overdrive.value(), 2.0 * uncertainty.value());
}

void add_tone_reasons(Findings& f, const Segment& segment, const Limits& limits) {
  const FlatTop& flat = f.flat_top;
  if (flat.overdrive_positive) {
    f.reasons.push_back(
        rail_sentence("positive", *flat.overdrive_positive, *flat.uncertainty_positive));
  }
  if (flat.overdrive_negative) {
    f.reasons.push_back(
        rail_sentence("negative", *flat.overdrive_negative, *flat.uncertainty_negative));
  }
  if (f.thdn && *f.thdn > limits.thdn) {
    f.reasons.push_back(
        text("THD+N is %.3g %%, over the limit of %.3g %%.", f.thdn->value(), limits.thdn.value()));
  }
  if (3.0 * f.frequency->value() > limits.band.high.value()) {
    f.reasons.push_back(
        text("The third harmonic of %.5g Hz lies above the band of %.5g Hz, so THD+N cannot see "
             "symmetric clipping.",
             f.frequency->value(), limits.band.high.value()));
  }
  if (segment.level_spread_db > unsteady_level_db) {
    f.reasons.push_back(
        text("The level is not steady: it moved by %.2f dB; automatic gain or a loose contact "
             "would do that.",
             segment.level_spread_db));
  }
}

Verdict tone_verdict(const Findings& f, const Limits& limits) {
  if (f.input_overload.present) return Verdict::input_overload;
  if (f.flat_top.present) return Verdict::clipped;
  if (f.thdn && *f.thdn > limits.thdn) return Verdict::distorted;
  return Verdict::clean;
}

Findings judge_tone(const Segment& segment, const InputOverload& overload, const Limits& limits) {
  Findings f;
  const BlockMeasurement& m = segment.measurement;
  add_levels(f, segment.figures, m.fundamental + m.residual, limits);
  f.dc = Percent(100.0 * m.dc);
  add_noise(f, m, limits);
  add_distortion(f, m);
  f.interference = interference_of(m);
  if (segment.clip) add_flat_top(f, *segment.clip);
  // Runs are counted over the whole channel; they belong to the segments that reach full scale.
  const double peak = std::max(std::abs(segment.figures.highest), std::abs(segment.figures.lowest));
  const bool reaches_full_scale = peak >= 0.9999;
  f.input_overload = overload;
  f.input_overload.present = overload.present && reaches_full_scale;
  f.verdict = tone_verdict(f, limits);
  if (f.verdict == Verdict::input_overload) {
    f.reasons.push_back(
        text("The recording input is overloaded: %.0f samples are at digital full scale, up to "
             "%.0f in a row; lower the input level.",
             static_cast<double>(overload.samples_at_full_scale),
             static_cast<double>(overload.longest_run)));
  }
  add_tone_reasons(f, segment, limits);
  return f;
}

Findings judge_other(const measure::FrameFigures& figures, const BlockMeasurement* m,
                     const Limits& limits) {
  Findings f;
  const double mean_square = figures.mean_square_ac();
  add_levels(f, figures, mean_square, limits);
  const bool silent = !f.level || *f.level < silence_limit;
  f.verdict = silent ? Verdict::no_signal : Verdict::no_tone;
  if (m != nullptr) {
    add_noise(f, *m, limits);
    f.interference = interference_of(*m);
  }
  f.reasons.push_back(
      silent ? "There is no signal here above the noise."
             : "This is not one steady tone (music, speech, noise or several tones), so no THD+N "
               "is given.");
  return f;
}

bool is_silence(const Segment& s) {
  const auto level = known_dbfs(s.figures.mean_square_ac());
  return !level || *level < silence_limit;
}

// A line of hum in silence is not the tone that was asked about.
bool is_tone(const Segment& s) {
  if (!s.measurement.tone) return false;
  return !is_silence(s) || kind_of_line(s.measurement.series.fundamental.value()) != "hum";
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

Findings judge_segment(const Segment& segment, const InputOverload& overload,
                       const Limits& limits) {
  if (is_tone(segment)) return judge_tone(segment, overload, limits);
  return judge_other(segment.figures, &segment.measurement, limits);
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

Findings unusable(std::string reason) {
  Findings f;
  f.verdict = Verdict::unusable;
  f.reasons.push_back(std::move(reason));
  return f;
}

void take_worst(Findings& whole, const std::vector<SegmentFindings>& segments) {
  for (const auto& segment : segments) {
    if (severity(segment.findings.verdict) <= severity(whole.verdict)) continue;
    whole.verdict = segment.findings.verdict;
    whole.reasons.push_back(
        text("From %.1f s to %.1f s: ", segment.start.value(), segment.end.value()) +
        (segment.findings.reasons.empty() ? name(segment.findings.verdict)
                                          : segment.findings.reasons.front()));
  }
}

}  // namespace

ChannelAnalysis judge_channel(int channel, const ChannelRecording& recording, Hertz rate,
                              const Limits& limits) {
  ChannelAnalysis analysis;
  analysis.channel = channel;
  if (recording.figures.non_finite > 0) {
    analysis.findings =
        unusable(text("%.0f samples are not numbers (NaN or infinity); the recording is damaged.",
                      static_cast<double>(recording.figures.non_finite)));
    return analysis;
  }
  const Shares shares = shares_of(recording);
  const bool tone =
      shares.longest_tone != nullptr &&
      static_cast<double>(shares.tone) >= least_tone_share * static_cast<double>(shares.loud);
  const auto frequency =
      tone ? std::optional(shares.longest_tone->measurement.series.fundamental) : std::nullopt;
  const InputOverload overload = overload_of(recording, frequency, rate);

  if (recording.segments.size() > 1) {
    for (const Segment& s : recording.segments) {
      analysis.segments.push_back({seconds(s.first_frame, rate), seconds(s.end_frame, rate),
                                   judge_segment(s, overload, limits)});
    }
  }
  if (tone) {
    analysis.findings = judge_tone(*shares.longest_tone, overload, limits);
    take_worst(analysis.findings, analysis.segments);
  } else {
    const auto* other = shares.longest_other;
    const bool noise_holds = other != nullptr && recording.segments.size() == 1;
    analysis.findings =
        judge_other(recording.figures, noise_holds ? &other->measurement : nullptr, limits);
    analysis.findings.input_overload = overload;
    if (overload.present) {
      analysis.findings.verdict = Verdict::input_overload;
      analysis.findings.reasons.push_back(text(
          "%.0f samples are at digital full scale, up to %.0f in a row: the recording is clipped.",
          static_cast<double>(overload.samples_at_full_scale),
          static_cast<double>(overload.longest_run)));
    }
  }
  return analysis;
}

bool within_limits(const std::vector<ChannelAnalysis>& channels) {
  return std::none_of(channels.begin(), channels.end(), [](const ChannelAnalysis& channel) {
    const Verdict v = channel.findings.verdict;
    return v == Verdict::clipped || v == Verdict::distorted || v == Verdict::input_overload ||
           v == Verdict::unusable;
  });
}

const char* name(Verdict verdict) {
  switch (verdict) {
    case Verdict::clean:
      return "clean";
    case Verdict::clipped:
      return "clipped";
    case Verdict::distorted:
      return "distorted";
    case Verdict::input_overload:
      return "input-overload";
    case Verdict::no_signal:
      return "no-signal";
    case Verdict::no_tone:
      return "no-tone";
    case Verdict::unusable:
      return "unusable";
  }
  return "unusable";
}

}  // namespace railtap::judge
