// SPDX-License-Identifier: MIT
// What is wrong with a recorded tone.
#include "judge/cause.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "judge/analysis.hpp"
#include "judge/cause_words.hpp"
#include "judge/turning.hpp"
#include "measure/static_law.hpp"

namespace railtap::judge {
namespace {

using measure::BlockMeasurement;
using measure::ChannelRecording;
using measure::Segment;
using measure::ShapeFit;
using measure::WaveShape;

// Harmonics of less than 0.1 % of the tone are less than 0.05 dB of clipping makes (closed form of
// the clipped sine, both rails).
constexpr double trace_of_harmonics = 1e-3;
constexpr double least_half = 0.5;

// Energy of the harmonics that are in the series, whether or not in the band, noise taken off.
double harmonics_re_tone(const measure::HarmonicSeries& series) {
  double sum = 0.0;
  for (std::size_t k = 1; k < series.phasor.size(); ++k) {
    const double sigma = series.sigma[k];
    sum += std::max(0.0, std::norm(series.phasor[k]) - 2.0 * sigma * sigma);
  }
  return std::sqrt(sum) / std::abs(series.phasor[0]);
}

// ---- shares of what is not the tone ----

struct Shares {
  double all = 0.0;  // mean squares
  double harmonics = 0.0, hum = 0.0, whine = 0.0, tones = 0.0, noise = 0.0, narrow = 0.0;
  double amplitude = 0.0, phase = 0.0;  // what a wavering level, or phase, makes of noise and lines
  std::optional<Hertz> strongest_hum, strongest_whine, strongest_tone, strongest_narrow, moving;
};

// A line is hum where its neighbours say so too: kind_of_line has the rule for one.
void add_line(Shares& shares, const measure::InterferenceLine& line) {
  const std::string kind = kind_of_line(line.frequency);
  const auto add = [&](double& sum, std::optional<Hertz>& strongest) {
    sum += line.mean_square;
    if (!strongest) strongest = line.frequency;  // lines come strongest first
  };
  if (kind == "hum") {
    add(shares.hum, shares.strongest_hum);
  } else if (kind == "whine") {
    add(shares.whine, shares.strongest_whine);
  } else {
    add(shares.tones, shares.strongest_tone);
  }
}

Shares shares_of(const Segment& segment) {
  const BlockMeasurement& m = segment.measurement;
  Shares shares;
  shares.all = m.residual;
  shares.harmonics = m.harmonics;
  shares.noise = m.noise;
  shares.narrow = m.narrow_noise;
  if (m.narrow_noise > 0.0) shares.strongest_narrow = m.narrow_frequency;
  for (const auto& line : m.lines) add_line(shares, line);
  shares.moving = segment.moving_line;
  shares.amplitude = segment.modulation.amplitude * m.fundamental;
  shares.phase = segment.modulation.phase * m.fundamental;
  return shares;
}

Percent percent_of(double part, const Shares& shares) {
  return Percent(100.0 * std::min(1.0, part / shares.all));
}

// ---- the waveform's own faults ----

// How much softer the input has to be for the law to leave the limit; none where it does not.
std::optional<Decibels> turn_down_of(const BlockMeasurement& m, Percent limit) {
  constexpr double softest = 0.03;
  constexpr int halvings = 40;
  constexpr std::size_t most_orders = 30;
  const measure::StaticLaw law = measure::law_of(m.series, most_orders);
  const double share = limit.value() / 100.0 * (limit.value() / 100.0);
  const auto over = [&](double ratio) {
    const auto out = measure::output_of(law, ratio, most_orders);
    return out.harmonics > share * out.total();
  };
  if (!over(1.0) || over(softest)) return std::nullopt;
  double low = softest;
  double high = 1.0;
  for (int i = 0; i < halvings; ++i) {
    const double middle = std::sqrt(low * high);
    (over(middle) ? high : low) = middle;
  }
  return Decibels(-20.0 * std::log10(low));
}

// Whether the rail moves at a pace of its own, as with the ripple of its supply: that sets lines in
// pairs to either side of the tone, f ± n·r, those below 0 folded up (derived). The tops are those
// of many rails then, and their mean has the harmonics of a wave that a low-pass has rounded.
bool is_moving_rail(const BlockMeasurement& m) {
  constexpr double apart_hz = 1.5;      // lines are told apart from 2 Hz on
  constexpr double alike = 4.0;         // 6 dB: pairs of several harmonics fall on one another
  constexpr double least_share = 1e-3;  // of the harmonics; 5 % of ripple makes 0.6 % (computed)
  const double twice = 2.0 * m.series.fundamental.value();
  const auto is_hum = [](const auto& line) { return kind_of_line(line.frequency) == "hum"; };
  double paired = 0.0;
  for (const auto& line : m.lines) {
    const double opposite = std::abs(twice - line.frequency.value());
    const bool has_pair = std::any_of(m.lines.begin(), m.lines.end(), [&](const auto& other) {
      const double ratio = other.mean_square / line.mean_square;
      return std::abs(other.frequency.value() - opposite) < apart_hz && ratio < alike &&
             ratio > 1.0 / alike && !(is_hum(line) && is_hum(other));
    });
    if (has_pair) paired += line.mean_square;
  }
  return paired > least_share * m.harmonics;
}

Cause clipping(const Findings& f, const std::optional<ShapeFit>& shape, const Segment& segment,
               const Limits& limits) {
  Cause cause;
  const bool rails = shape && shape->shape == WaveShape::rails;
  const bool moves = rails && is_moving_rail(segment.measurement);
  const bool filtered =
      rails && !moves && (shape->high_pass > Hertz(0.0) || shape->low_pass > Hertz(0.0));
  cause.kind = filtered ? CauseKind::filtered_clipping : CauseKind::clipping;
  cause.turn_down = larger_overdrive(f.flat_top);
  const double peak = std::max(std::abs(segment.figures.highest), std::abs(segment.figures.lowest));
  const bool below =
      limits.input_clean_to && peak > 0.0 && dbfs_from_sine_peak(peak) < *limits.input_clean_to;
  cause.input_excluded = below;
  words::clipping(cause, f, filtered ? &*shape : nullptr);
  if (moves) words::moving_rail(cause);
  return cause;
}

// The same, or what the signal's earlier blocks gave.
std::optional<Decibels> turn_down_of(const BlockMeasurement& m, Percent limit,
                                     WaveformMemory* memory) {
  if (memory == nullptr) return turn_down_of(m, limit);
  if (!memory->turn_down) memory->turn_down = turn_down_of(m, limit);
  return *memory->turn_down;
}

// Fewer orders than this tell no law from rails.
constexpr int plenty_of_orders = 7;

// How many orders the recorder passes where its own low-pass hides what would tell. A whine's noise
// tells nothing of it.
std::optional<std::size_t> narrow_recorder(const BlockMeasurement& m) {
  if (m.narrow_noise > least_half * m.noise) return std::nullopt;
  const std::size_t passed = measure::passed_orders(m.series);
  if (passed >= std::min<std::size_t>(plenty_of_orders, m.series.phasor.size()))
    return std::nullopt;
  return passed;
}

Cause of_shape(const Segment& segment, const Findings& f, const std::optional<ShapeFit>& shape,
               const Limits& limits, WaveformMemory* memory) {
  Cause cause;
  const BlockMeasurement& m = segment.measurement;
  const auto narrow = narrow_recorder(m);
  if (!f.clipped && narrow) {
    words::narrow_recording(cause, static_cast<double>(*narrow) * m.series.fundamental);
    return cause;
  }
  if (!f.clipped || !shape || shape->shape == WaveShape::unknown) {
    words::unknown_shape(cause, f, segment.clip && !segment.clip->decidable);
    return cause;
  }
  switch (shape->shape) {
    case WaveShape::dead_zone:
      cause.kind = CauseKind::crossover;
      words::crossover(cause, shape->dead_share);
      break;
    case WaveShape::slew:
      cause.kind = CauseKind::slew;
      cause.turn_down = Decibels(-20.0 * std::log10(std::min(0.999, shape->speed.value() / 100.0)));
      words::slew(cause, shape->speed);
      break;
    case WaveShape::bend:
      cause.kind = shape->even ? CauseKind::uneven_halves : CauseKind::soft_compression;
      cause.turn_down = turn_down_of(m, limits.thdn, memory);
      words::bend(cause, *shape, limits.thdn);
      break;
    case WaveShape::rails:
    case WaveShape::plain:
    case WaveShape::unknown:
      words::unknown_shape(cause, f, false);
      break;
  }
  return cause;
}

// ---- what is added to the tone ----

Cause noise(const Shares& shares, const Findings& f) {
  // Noise of this and less is what recording inputs have of their own (common practice).
  constexpr Dbfs quiet_noise{-70.0};
  constexpr Dbfs soft_tone{-30.0};
  Cause cause;
  cause.share = percent_of(shares.noise, shares);
  if (f.level && *f.level < soft_tone && f.noise && *f.noise < quiet_noise) {
    cause.kind = CauseKind::too_soft;
    words::too_soft(cause, f);
  } else {
    cause.kind = CauseKind::hiss;
    words::hiss(cause, f);
  }
  return cause;
}

Cause rounding(const Findings& f, double code_step) {
  Cause cause;
  cause.kind = CauseKind::coarse_codes;
  cause.share = Percent(100.0);
  words::coarse_codes(cause, f, code_step);
  return cause;
}

Cause line(CauseKind kind, double part, const std::optional<Hertz>& frequency, const Shares& shares,
           const Findings& f, words::Pitch pitch = words::Pitch::steady) {
  Cause cause;
  cause.kind = kind;
  cause.share = percent_of(part, shares);
  cause.frequency = frequency;
  words::line(cause, f, pitch);
  return cause;
}

// Noise has equal parts in amplitude and phase; a level that pumps has nearly all in one.
bool is_wavering(double part, double other, const Shares& shares) {
  constexpr double one_sided = 4.0;
  const double offered = shares.noise + shares.tones + shares.hum + shares.whine;
  return part > least_half * offered && part > one_sided * other &&
         offered > least_half * shares.all;
}

// What is said of a tone's course holds for the recording.
bool is_followed(const ChannelRecording& recording) {
  return static_cast<double>(recording.followed.frames) >
         least_half * static_cast<double>(recording.figures.frames);
}

// Of a phase that wavers, in radians: a turn of 0.3 takes a tenth of a line's power (derived,
// 1 − cos²), and what is less is no reason why there is no steady tone. A tone that was measured is
// known to waver.
constexpr double phase_without_tone = 0.3;
constexpr double phase_of_tone = 0.03;

// A pitch that goes one way from end to end.
bool goes_one_way(const measure::FollowedTone& tone, double least_phase) {
  constexpr double evenly = 2.5;  // of a straight line its length is √12 standard deviations
  const double way = std::abs((tone.last - tone.first) / tone.frequency);
  return tone.turns == 0 && way > evenly * tone.speed && tone.phase > least_phase;
}

// A mechanism's speed wavers by less, and leaves the level alone; what a voice or an instrument
// holds has more of either (common practice: a vibrato is a third of a semitone, 2 %).
bool wavers(const measure::FollowedTone& tone, double least_phase) {
  constexpr double one_sided = 4.0;
  constexpr double most_speed = 0.015;
  constexpr double most_amplitude = 0.03;
  return tone.turns >= 2 && std::numbers::sqrt2 * tone.speed < most_speed &&
         tone.amplitude < most_amplitude && tone.phase > least_phase &&
         tone.phase > one_sided * tone.amplitude;
}

std::optional<Cause> moving_pitch(const ChannelRecording& recording, const Findings& f) {
  if (!is_followed(recording)) return std::nullopt;
  const measure::FollowedTone& tone = recording.followed;
  const double least_phase = f.thdn ? phase_of_tone : phase_without_tone;
  Cause cause;
  if (goes_one_way(tone, least_phase)) {
    cause.kind = CauseKind::frequency_moving;
    words::pitch_goes(cause, tone);
  } else if (wavers(tone, least_phase)) {
    cause.kind = CauseKind::speed_wavering;
    words::speed(cause, f, &tone);
  } else {
    return std::nullopt;
  }
  cause.frequency = tone.frequency;
  return cause;
}

Cause wavering_phase(const ChannelRecording& recording, const Shares& shares, const Findings& f) {
  Cause cause;
  if (auto known = moving_pitch(recording, f)) {
    cause = *std::move(known);
  } else {
    cause.kind = CauseKind::speed_wavering;
    words::speed(cause, f, nullptr);
  }
  cause.share = percent_of(shares.phase, shares);
  return cause;
}

Cause added(const ChannelRecording& recording, const Shares& shares, const Findings& f) {
  Cause cause;
  if (is_wavering(shares.amplitude, shares.phase, shares)) {
    cause.kind = CauseKind::level_pumping;
    cause.share = percent_of(shares.amplitude, shares);
    words::fast_pumping(cause, f);
    return cause;
  }
  if (is_wavering(shares.phase, shares.amplitude, shares))
    return wavering_phase(recording, shares, f);
  const double most = std::max({shares.hum, shares.whine, shares.tones, shares.noise});
  if (most == shares.hum) return line(CauseKind::hum, shares.hum, shares.strongest_hum, shares, f);
  if (shares.moving && (most == shares.whine || most == shares.tones)) {
    return line(CauseKind::whine, shares.whine + shares.tones, shares.moving, shares, f,
                words::Pitch::moves);
  }
  if (most == shares.whine)
    return line(CauseKind::whine, shares.whine, shares.strongest_whine, shares, f);
  if (most == shares.tones)
    return line(CauseKind::foreign_tone, shares.tones, shares.strongest_tone, shares, f);
  // Narrow bands that are no lines: a tone whose pitch moves.
  if (shares.narrow > least_half * shares.noise) {
    return line(CauseKind::whine, shares.narrow, shares.strongest_narrow, shares, f,
                words::Pitch::moves);
  }
  return noise(shares, f);
}

// ---- what interrupts it ----

std::optional<Cause> interrupted(const ChannelRecording& recording, const Findings& f, Hertz rate) {
  const measure::FoundDisturbances& found = recording.disturbances;
  if (found.count() == 0) return std::nullopt;
  Cause cause;
  cause.kind = CauseKind::clicks;
  if (found.jumps >= found.clicks) cause.kind = CauseKind::missing_samples;
  if (found.gaps >= std::max(found.clicks, found.jumps)) cause.kind = CauseKind::gaps;
  words::interrupted(cause, found, f, rate);
  return cause;
}

// For a fifth of what is not silent, or for a second.
bool level_moves(const ChannelRecording& recording, Hertz rate) {
  constexpr double least_share = 0.2;
  constexpr double least_s = 1.0;
  const auto frames = static_cast<double>(recording.moving.frames);
  return frames > least_share * static_cast<double>(recording.figures.frames) ||
         frames > least_s * rate.value();
}

// A second tone, so close that both beat. Mains keep their frequency within 0.2 Hz (common
// practice), so what is near a multiple of it is hum.
std::optional<Cause> beating(const ChannelRecording& recording, Hertz rate) {
  constexpr Hertz mains_tolerance{0.2};
  if (!is_followed(recording) || !level_moves(recording, rate)) return std::nullopt;
  const auto beside = measure::tone_beside(recording.followed);
  if (!beside) return std::nullopt;
  const bool hum = kind_of_line(beside->frequency, mains_tolerance) == "hum";
  Cause cause;
  cause.kind = hum ? CauseKind::hum : CauseKind::foreign_tone;
  cause.frequency = beside->frequency;
  words::beating(cause, recording.followed, *beside);
  return cause;
}

std::optional<Cause> moving(const ChannelRecording& recording, Hertz rate) {
  const measure::MovingLevel& m = recording.moving;
  if (!level_moves(recording, rate)) return std::nullopt;
  constexpr double both_ways_db = 0.3;
  Cause cause;
  const bool both = std::min(m.up_db, m.down_db) > both_ways_db;
  cause.kind = both ? CauseKind::level_pumping : CauseKind::level_moving;
  cause.frequency = m.frequency;
  words::moving(cause, m, rate);
  return cause;
}

}  // namespace

void WaveformMemory::look_at(const measure::HarmonicSeries& now) {
  if (measure::is_same_waveform(series, now)) return;
  *this = {};
  series = now;
}

measure::ClippedSineFit clip_of(const measure::HarmonicSeries& now, WaveformMemory& memory) {
  constexpr double clearly_there = 0.01;
  memory.look_at(now);
  const double louder = std::abs(now.phasor[0]) / std::abs(memory.series.phasor[0]);
  if (memory.clip) {
    measure::ClippedSineFit fit = *memory.clip;
    fit.amplitude_fs *= louder;
    return fit;
  }
  measure::ClippedSineFit fit = measure::fit_clipped_sine(now);
  if (harmonics_re_tone(now) > clearly_there) {
    memory.clip = fit;
    memory.clip->amplitude_fs /= louder;
  }
  return fit;
}

std::optional<ShapeFit> shape_in_question(const Segment& segment, WaveformMemory* memory) {
  using measure::ClipModel;
  if (!segment.clip || segment.measurement.series.phasor.size() < 2) return std::nullopt;
  if (harmonics_re_tone(segment.measurement.series) < trace_of_harmonics) return std::nullopt;
  const measure::ClippedSineFit& fit = *segment.clip;
  const bool flat = fit.positive.flat || fit.negative.flat;
  // A corner behind capacitors that explains the harmonics leaves no question.
  const bool corner = fit.model == ClipModel::hard || fit.model == ClipModel::hard_two_poles;
  const bool slow_capacitor =
      fit.coupling.value() < 0.3 * segment.measurement.series.fundamental.value();
  if (flat && corner && slow_capacitor) return std::nullopt;
  if (memory == nullptr) return measure::fit_shape(segment.measurement.series);
  memory->look_at(segment.measurement.series);
  if (!memory->shape) memory->shape = measure::fit_shape(segment.measurement.series);
  return memory->shape;
}

bool is_rounding(const Segment& segment, const ChannelRecording& recording, Hertz rate,
                 const Limits& limits) {
  // An even error of step²/12 over half the rate [Bennett, BSTJ 27 (1948) 446, from memory], three
  // times that with triangular dither, and some room.
  constexpr double most = 4.5;
  if (!recording.code_step) return false;
  const double step = *recording.code_step;
  const double half = 0.5 * rate.value();
  const double share = std::min(limits.band.high.value(), half) / half;
  return segment.measurement.residual < most * step * step / 12.0 * share;
}

std::optional<bool> is_clipped(const Segment& segment, const Findings& f,
                               const std::optional<ShapeFit>& shape) {
  constexpr int deciding_orders = 5;  // as in fit_clipped_sine
  constexpr int third = 3;
  if (f.input_overload.present || f.flat_top.present) return true;
  if (!segment.clip || segment.clip->orders_used < third) return std::nullopt;
  const measure::ClippedSineFit& fit = *segment.clip;
  const auto narrow = narrow_recorder(segment.measurement);
  if (narrow && *narrow < third) return std::nullopt;
  if (harmonics_re_tone(segment.measurement.series) < trace_of_harmonics) return false;
  if (fit.orders_used < deciding_orders) return std::nullopt;
  if (shape && (shape->shape == WaveShape::dead_zone || shape->shape == WaveShape::slew))
    return false;
  if (narrow) return std::nullopt;
  if (fit.explained && fit.decidable) return false;
  // Rails of that size would show in orders that are in the band, and leave more than the law does.
  constexpr Decibels clear{6.0};
  if (shape && shape->shape == WaveShape::bend &&
      (fit.decidable || (fit.orders_used >= plenty_of_orders && shape->margin > clear)))
    return false;
  if (shape && shape->shape == WaveShape::plain) return false;
  return std::nullopt;
}

std::optional<Cause> cause_of_tone(const ChannelRecording& recording, const Segment& segment,
                                   const Findings& f, const std::optional<ShapeFit>& shape,
                                   Hertz rate, const Limits& limits, WaveformMemory* memory) {
  if (f.input_overload.present) {
    Cause cause;
    cause.kind = CauseKind::input_overload;
    words::input_overload(cause, f);
    return cause;
  }
  if (f.flat_top.present) return clipping(f, shape, segment, limits);
  if (f.verdict == Verdict::distorted) {
    const Shares shares = shares_of(segment);
    if (!(shares.all > 0.0)) return std::nullopt;
    if (is_rounding(segment, recording, rate, limits)) return rounding(f, *recording.code_step);
    const double rest = shares.all - shares.harmonics;
    if (shares.harmonics <= rest) return added(recording, shares, f);
    Cause cause = of_shape(segment, f, shape, limits, memory);
    cause.share = percent_of(shares.harmonics, shares);
    return cause;
  }
  // Where a beat turns, level and phase break as at a click; a click moves the level of a low
  // tone's frames as well.
  if (auto cause = beating(recording, rate)) return cause;
  if (auto cause = interrupted(recording, f, rate)) return cause;
  return moving(recording, rate);
}

std::optional<Cause> cause_without_tone(const ChannelRecording& recording, const Findings& f,
                                        Hertz rate) {
  if (auto cause = moving_pitch(recording, f)) return cause;
  if (auto cause = beating(recording, rate)) return cause;
  return moving(recording, rate);
}

const char* name(CauseKind kind) {
  switch (kind) {
    case CauseKind::clipping:
      return "clipping";
    case CauseKind::filtered_clipping:
      return "filtered-clipping";
    case CauseKind::input_overload:
      return "input-overload";
    case CauseKind::soft_compression:
      return "soft-compression";
    case CauseKind::uneven_halves:
      return "uneven-halves";
    case CauseKind::crossover:
      return "crossover";
    case CauseKind::slew:
      return "slew";
    case CauseKind::hum:
      return "hum";
    case CauseKind::whine:
      return "whine";
    case CauseKind::foreign_tone:
      return "foreign-tone";
    case CauseKind::hiss:
      return "hiss";
    case CauseKind::too_soft:
      return "too-soft";
    case CauseKind::coarse_codes:
      return "coarse-codes";
    case CauseKind::level_pumping:
      return "level-pumping";
    case CauseKind::level_moving:
      return "level-moving";
    case CauseKind::speed_wavering:
      return "speed-wavering";
    case CauseKind::frequency_moving:
      return "frequency-moving";
    case CauseKind::gaps:
      return "gaps";
    case CauseKind::clicks:
      return "clicks";
    case CauseKind::missing_samples:
      return "missing-samples";
    case CauseKind::unknown:
      return "unknown";
  }
  return "unknown";
}

}  // namespace railtap::judge
