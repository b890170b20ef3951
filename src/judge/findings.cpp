// SPDX-License-Identifier: MIT
// From the measurement of a steady stretch to what is said of it.
#include "judge/analysis.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "judge/sentence.hpp"
#include "judge/turning.hpp"

namespace railtap::judge {
namespace {

using measure::BlockMeasurement;
using measure::Segment;

// A sine at full scale has mean square 1/2 and is 0 dBFS [AES17-2015, 3.12].
constexpr double full_scale_sine_mean_square = 0.5;
// Without a tone, this much and less is silence: a played programme is not that soft, and an open
// input or the hiss of an amplifier behind its attenuator seldom is louder (common practice).
constexpr Dbfs silence_limit{-60.0};
constexpr int last_listed_order = 10;
// A player's level holds to 0.01 dB; automatic gain does not.
constexpr double unsteady_level_db = 0.1;
// Re the tone; weaker lines are any converter's own.
constexpr Decibels weakest_interference{-90.0};

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

std::vector<Interference> interference_of(const BlockMeasurement& m) {
  const double reference = m.tone ? m.fundamental : 0.0;
  std::vector<Interference> list;
  for (const auto& line : m.lines) {
    if (line.mean_square <= 0.0) continue;
    if (10.0 * std::log10(line.mean_square / (reference + 1e-30)) < weakest_interference.value())
      continue;
    list.push_back({line.frequency, dbfs(line.mean_square), kind_of_line(line.frequency)});
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

// No amplifier makes more of a sine than a square wave, whose harmonics are 48.3 % of the
// fundamental (closed form); pulses and buzzes have more. A second tone above a fifth is one of
// several tones.
bool is_distorted_sine(const BlockMeasurement& m) {
  constexpr double most_harmonics = 0.6 * 0.6;
  constexpr double strongest_second_tone = 0.2 * 0.2;
  if (m.harmonics > most_harmonics * m.fundamental) return false;
  return m.lines.empty() || m.lines.front().mean_square < strongest_second_tone * m.fundamental;
}

std::string rail_sentence(const char* rail, Decibels overdrive, Decibels uncertainty) {
  constexpr double coverage = 2.0;        // 95 % of a normal distribution [JCGM 100:2008, 6.3.3]
  constexpr double finest_stated = 0.01;  // dB; a smaller uncertainty is printed as this
  const std::string start = std::string("The ") + rail +
                            " peaks are flat: the waveform would exceed that rail by " +
                            overdrive_text(overdrive);
  if (overdrive > most_overdrive_told) return start + ", or a square wave was played.";
  return start + sentence(", ±%.2f dB.", std::max(finest_stated, coverage * uncertainty.value()));
}

// What keeps the model from a plain answer.
void add_model_reasons(Findings& f, const measure::ClippedSineFit& fit) {
  const double most = std::max(fit.positive.overdrive.value(), fit.negative.overdrive.value());
  const bool seen = fit.positive.significance > 0.0 || fit.negative.significance > 0.0;
  if (!f.flat_top.present && !f.clipped && seen && !fit.decidable && most >= 0.01) {
    f.question = sentence(
        "The harmonics in the band are too few or too weak to tell flat tops (%.2f dB over) from "
        "compression; a tone of lower frequency can.",
        most);
  }
  if (f.flat_top.fold_agrees && !*f.flat_top.fold_agrees) {
    f.reasons.push_back(
        "The folded waveform and the clipped-sine model do not agree on the flat tops: look at the "
        "waveform before trusting either.");
  }
}

void add_tone_reasons(Findings& f, const Segment& segment, const Limits& limits, FlatTops tops) {
  const FlatTop& flat = f.flat_top;
  if (flat.overdrive_positive) {
    f.reasons.push_back(
        rail_sentence("positive", *flat.overdrive_positive, *flat.uncertainty_positive));
  }
  if (flat.overdrive_negative) {
    f.reasons.push_back(
        rail_sentence("negative", *flat.overdrive_negative, *flat.uncertainty_negative));
  }
  if (segment.clip && tops == FlatTops::cut) add_model_reasons(f, *segment.clip);
  if (f.thdn && *f.thdn > limits.thdn) {
    f.reasons.push_back(sentence("THD+N is %.3g %%, over the limit of %.3g %%.", f.thdn->value(),
                                 limits.thdn.value()));
  }
  if (3.0 * f.frequency->value() > limits.band.high.value()) {
    f.reasons.push_back(sentence(
        "The third harmonic of %.5g Hz lies above the band of %.5g Hz, so THD+N cannot see "
        "symmetric clipping.",
        f.frequency->value(), limits.band.high.value()));
  }
  if (segment.level_spread_db > unsteady_level_db) {
    f.reasons.push_back(
        sentence("The level is not steady: it moved by %.2f dB; automatic gain or a loose contact "
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

Findings judge_tone(const Segment& segment, const InputOverload& overload, const Limits& limits,
                    FlatTops tops) {
  Findings f;
  const BlockMeasurement& m = segment.measurement;
  add_levels(f, segment.figures, m.fundamental + m.residual, limits);
  f.dc = Percent(100.0 * m.dc);
  add_noise(f, m, limits);
  add_distortion(f, m);
  f.interference = interference_of(m);
  if (segment.clip && tops == FlatTops::cut) add_flat_top(f, *segment.clip);
  if (segment.agreement != measure::Agreement::cannot_tell && tops == FlatTops::cut) {
    f.flat_top.fold_agrees = segment.agreement == measure::Agreement::agree;
  }
  // Runs are counted over the whole channel; they belong to the segments that reach the ceiling.
  constexpr double nearly = 0.9999;
  const double peak = std::max(std::abs(segment.figures.highest), std::abs(segment.figures.lowest));
  f.input_overload = overload;
  f.input_overload.present = overload.present && peak >= nearly * overload.ceiling;
  f.verdict = tone_verdict(f, limits);
  if (tops == FlatTops::cut || f.input_overload.present)
    f.clipped = is_clipped(segment, f, std::nullopt);
  if (f.verdict == Verdict::input_overload) f.reasons.push_back(overload_sentence(overload));
  add_tone_reasons(f, segment, limits, tops);
  return f;
}

}  // namespace

// Hum is a line within half a hertz of a multiple of the mains frequency; an alternator's ripple
// (36 a turn) lies at 1–6 kHz from idle to 3000/min with pulley ratios of 2.5–3 (check-values:
// order verified).
std::string kind_of_line(Hertz frequency, Hertz tolerance) {
  const double hz = frequency.value();
  constexpr double highest_hum_hz = 600.0;
  for (const double mains : {50.0, 60.0}) {
    const double nearest = mains * std::round(hz / mains);
    if (nearest > 0.0 && hz < highest_hum_hz && std::abs(hz - nearest) < tolerance.value())
      return "hum";
  }
  return hz >= 1000.0 && hz <= 6000.0 ? "whine" : "tone";
}

std::string overload_sentence(const InputOverload& overload) {
  if (overload.samples_at_ceiling == 0) {
    return sentence(
        "The recording input is overloaded: %.0f samples are at digital full scale, up to %.0f in "
        "a row; lower the input level.",
        static_cast<double>(overload.samples_at_full_scale),
        static_cast<double>(overload.longest_run));
  }
  return sentence("The recording is clipped at one code, %.2f dBFS, without the noise that a ",
                  20.0 * std::log10(overload.ceiling)) +
         sentence(
             "clipped signal has on its way in: %.0f samples, up to %.0f in a row; lower the input "
             "level, or use the recording as it was before it was turned down.",
             static_cast<double>(overload.samples_at_ceiling),
             static_cast<double>(overload.longest_run));
}

Findings judge_other(const measure::FrameFigures& figures, const BlockMeasurement* noise,
                     const Limits& limits) {
  Findings f;
  const double mean_square = figures.mean_square_ac();
  add_levels(f, figures, mean_square, limits);
  const bool silent = !f.level || *f.level < silence_limit;
  f.verdict = silent ? Verdict::no_signal : Verdict::no_tone;
  if (noise != nullptr) {
    add_noise(f, *noise, limits);
    if (silent) f.interference = interference_of(*noise);  // in music, a line is part of the music
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

bool is_tone(const Segment& s) {
  if (!s.measurement.tone || !is_distorted_sine(s.measurement)) return false;
  return !is_silence(s) || kind_of_line(s.measurement.series.fundamental) != "hum";
}

Findings judge_segment(const Segment& segment, const InputOverload& overload, const Limits& limits,
                       FlatTops tops) {
  if (is_tone(segment)) return judge_tone(segment, overload, limits, tops);
  return judge_other(segment.figures, &segment.measurement, limits);
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
