// SPDX-License-Identifier: MIT
// Random ladders that are not whole: pauses, short steps, late starts, early stops, holes, and an
// output that goes silent. Which step each found one is, its level, what is said to be missing, and
// the onset, against the truth.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "judge/ladder_gaps.hpp"
#include "measure/ladder_alignment.hpp"
#include "support/basics.hpp"
#include "support/onset_of.hpp"
#include "support/played_steps.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr double rate_hz = 48000.0;
constexpr double pi = std::numbers::pi;

enum class Hole { none, silent, cut_out };

// A ladder as it was played, and what became of it.
struct Damage {
  int steps = 21;
  double first_dbfs = -20.0, rise_db = 1.0;
  double dwell_s = 0.5, pause_s = 0.0, uneven_s = 0.0;
  double late_s = 0.0;   // the recording starts so much after the ladder; 0: before it
  double early_s = 0.0;  // it ends so much before the ladder does
  Hole hole = Hole::none;
  int hole_at = 0;
  double mute_s = 0.0;  // after the ladder's start; 0: never

  [[nodiscard]] double period_s() const { return dwell_s + pause_s; }
  [[nodiscard]] double input(int index) const { return first_dbfs + rise_db * index; }
  // Longer than any pause, so that it can be told from one.
  [[nodiscard]] double silence_s() const { return std::max(0.6, 2.0 * (pause_s + uneven_s) + 0.2); }
};

// What is heard of a step.
struct Heard {
  int index;
  double first_s, end_s;
  bool whole;
};

struct Recording {
  std::vector<double> samples;
  std::vector<Heard> steps;
  double silent_s = 0.0;  // where the output went silent
  double end_s = 0.0;
};

struct PlayedLadder {
  std::vector<Played> stretches;
  std::vector<Heard> steps;
  double end_s;
};

PlayedLadder played_ladder(const Damage& d, Random& random) {
  PlayedLadder ladder{{{std::nullopt, d.silence_s()}}, {}, d.silence_s()};
  for (int k = 0; k < d.steps; ++k) {
    const bool hole = d.hole != Hole::none && k == d.hole_at;
    if (hole && d.hole == Hole::cut_out) continue;
    if (!hole) ladder.steps.push_back({k, ladder.end_s, ladder.end_s + d.dwell_s, true});
    ladder.stretches.push_back(
        {hole ? std::nullopt : std::optional<double>(d.input(k)), d.dwell_s});
    ladder.end_s += d.dwell_s;
    if (d.pause_s == 0.0) continue;
    const double pause_s = d.pause_s + between(random, -d.uneven_s, d.uneven_s);
    ladder.stretches.push_back({std::nullopt, pause_s});
    ladder.end_s += pause_s;
  }
  ladder.stretches.push_back({std::nullopt, d.silence_s() + d.mute_s});
  return ladder;
}

std::ptrdiff_t sample(double seconds) {
  return static_cast<std::ptrdiff_t>(seconds * rate_hz);
}

Recording record(const Damage& d, const Stage& stage, Random& random) {
  const PlayedLadder ladder = played_ladder(d, random);
  Recording recording;
  auto& x = recording.samples;
  x = play(ladder.stretches, stage, random);
  const double whole_s = static_cast<double>(x.size()) / rate_hz;
  const double first_s = d.late_s > 0.0 ? d.silence_s() + d.late_s : 0.0;
  const double end_s = d.early_s > 0.0 ? ladder.end_s - d.early_s : whole_s;
  const double heard_s = d.mute_s > 0.0 ? std::min(end_s, d.silence_s() + d.mute_s) : end_s;
  if (d.mute_s > 0.0) {
    Gaussian noise(0.0, stage.noise_rms);
    for (auto n = sample(d.silence_s() + d.mute_s); n < std::ssize(x); ++n)
      x[static_cast<std::size_t>(n)] = noise(random);
  }
  x.resize(static_cast<std::size_t>(sample(end_s)));
  x.erase(x.begin(), x.begin() + sample(first_s));
  for (const Heard& step : ladder.steps) {
    const double first = std::max(step.first_s, first_s);
    const double end = std::min(step.end_s, heard_s);
    if (end <= first) continue;
    const bool whole = end - first > d.dwell_s - 1e-6;
    recording.steps.push_back({step.index, first - first_s, end - first_s, whole});
  }
  recording.silent_s = heard_s - first_s;
  recording.end_s = end_s - first_s;
  return recording;
}

Stage random_stage(Random& random, double hz, double onset_db) {
  Stage stage;
  stage.hz = hz;
  stage.scale = between(random, 0.2, 0.9);
  stage.chain = coupling(between(random, 1.0, 20.0));
  const double rail = std::pow(10.0, onset_db / 20.0);
  stage.law = [=](double x) { return std::clamp(x, -rail, rail); };
  constexpr double snr_db = 50.0;
  stage.noise_rms = stage.scale * rail / std::sqrt(2.0) * std::pow(10.0, -snr_db / 20.0);
  return stage;
}

// Which faults a ladder may have.
struct Faults {
  bool pauses = false, quick = false, late = false, early = false, holes = false, mute = false;
};

Damage random_damage(Random& random, const Faults& faults, bool slow_tone) {
  Damage d;
  d.dwell_s = log_between(random, 0.25, 1.0);
  if (faults.quick) d.dwell_s = one_of(random, 2) == 0 ? 0.08 : log_between(random, 0.08, 0.25);
  if (slow_tone) d.dwell_s = std::max(d.dwell_s, 0.15);  // it takes three cycles in the inner part
  constexpr double rises_db[] = {0.5, 1.0, 1.0, 2.0};
  d.rise_db = rises_db[one_of(random, 4)];
  d.steps = static_cast<int>(20.0 / d.rise_db) + 1;
  const bool falls = one_of(random, 6) == 0 && !faults.mute;
  if (falls) {
    d.first_dbfs = 0.0;
    d.rise_db = -d.rise_db;
  }
  if (faults.pauses) d.pause_s = log_between(random, 0.06, 0.6);
  if (faults.pauses && one_of(random, 3) == 0) d.uneven_s = between(random, 0.1, 0.4) * d.pause_s;
  const double total_s = d.period_s() * d.steps;
  if (faults.late) d.late_s = between(random, 0.02, 0.3) * total_s;
  if (faults.early) d.early_s = between(random, 0.02, 0.25) * total_s;
  if (faults.holes) d.hole = one_of(random, 2) == 0 ? Hole::silent : Hole::cut_out;
  // Where the levels tell the steps apart.
  d.hole_at = falls ? d.steps - 2 - one_of(random, d.steps / 2) : 1 + one_of(random, d.steps / 2);
  if (faults.mute) d.mute_s = between(random, 0.5, 0.95) * total_s;
  return d;
}

// Three steps that follow each other below the onset are the least that shows a ladder.
bool can_be_placed(const Damage& d, const Recording& r, double onset_db) {
  int in_a_row = 0;
  for (std::size_t i = 1; i < r.steps.size(); ++i) {
    const auto clean = [&](const Heard& step) {
      return step.whole && d.input(step.index) < onset_db;
    };
    const bool follows = r.steps[i].index == r.steps[i - 1].index + 1;
    in_a_row = follows && clean(r.steps[i]) && clean(r.steps[i - 1]) ? in_a_row + 1 : 0;
    if (in_a_row == 2) return true;
  }
  return false;
}

// Silence that begins where a step ends looks like the ladder's end, silence that ends where one
// begins like its start.
bool looks_whole(const Damage& d, const Recording& r, bool slow_tone) {
  const double told_s = slow_tone ? 0.025 : 0.008;  // of 50 Hz, to a cycle
  const Heard& last = r.steps.back();
  const bool like_end = d.mute_s > 0.0 && (last.whole || last.end_s - last.first_s < told_s ||
                                           last.end_s - last.first_s > d.dwell_s - told_s);
  const bool like_start = d.hole == Hole::silent && r.steps.front().whole &&
                          std::abs(r.steps.front().index - d.hole_at) <= 1;
  const bool like_end_too =
      d.hole == Hole::silent && d.early_s > 0.0 && std::abs(last.index - d.hole_at) <= 1;
  return (d.late_s > 0.0 && like_end) || (d.late_s > 0.0 && like_start) || like_end_too;
}

struct Score {
  int ladders = 0, told = 0, found = 0, onsets = 0;
  int beyond = 0;  // stretches with a tone that reach over an edge of their step
  double worst_level_db = 0.0, worst_onset_db = 0.0, worst_silence_s = 0.0;
};

const Heard* heard_at(const Recording& r, const measure::Step& step) {
  const double first = static_cast<double>(step.inner_first) / rate_hz;
  const double end = static_cast<double>(step.inner_end) / rate_hz;
  constexpr double fade_s = 0.002;
  for (const Heard& heard : r.steps) {
    if (first >= heard.first_s && end <= heard.end_s + fade_s) return &heard;
  }
  return nullptr;
}

// By how many steps the numbering is off; the same for every step.
int check_places(const Recording& r, const std::vector<measure::MeasuredStep>& steps,
                 Score& score) {
  std::optional<int> shift;
  for (const auto& measured : steps) {
    const Heard* heard = heard_at(r, measured.step);
    // What is too short to hold a tone is not reported as a step.
    if (heard == nullptr && measured.block.tone) ++score.beyond;
    if (heard == nullptr) continue;
    const int off = measured.step.index - heard->index;
    if (!shift) shift = off;
    CHECK(off == *shift);
  }
  for (const Heard& heard : r.steps) {
    const bool found = std::any_of(steps.begin(), steps.end(), [&](const auto& measured) {
      return heard_at(r, measured.step) == &heard;
    });
    CHECK((found || !heard.whole));
  }
  return shift.value_or(0);
}

void check_levels(const Damage& d, const Recording& r, const Stage& stage,
                  const std::vector<measure::MeasuredStep>& steps, Score& score) {
  for (const auto& measured : steps) {
    const Heard* heard = heard_at(r, measured.step);
    if (heard == nullptr || (!measured.block.tone && !heard->whole)) continue;
    CHECK(measured.block.tone);
    const auto& block = measured.block;
    const double level = 10.0 * std::log10(2.0 * (block.fundamental + block.harmonics));
    const double off = std::abs(level - true_level(stage, d.input(heard->index)));
    score.worst_level_db = std::max(score.worst_level_db, off);
    ++score.found;
  }
}

void check_missing(const Damage& d, const measure::AlignedLadder& ladder) {
  std::vector<int> all;
  for (const auto& step : ladder.steps) all.push_back(step.index);
  for (const auto& missing : ladder.missing) all.push_back(missing.index);
  std::sort(all.begin(), all.end());
  std::vector<int> expected;
  for (int k = 0; k < d.steps; ++k) expected.push_back(k);
  CHECK(all == expected);
}

void check_silence(const Damage& d, const Recording& r, const measure::AlignedLadder& ladder,
                   Score& score) {
  const Heard& last = r.steps.back();
  const bool over = last.index == d.steps - 1 && last.whole;
  const bool mute = d.mute_s > 0.0 && r.silent_s < r.end_s && !over;
  CHECK((mute || !ladder.muted));
  if (!mute) return;
  if (r.end_s - r.silent_s < 2.0 * (d.pause_s + d.uneven_s) + 0.2) return;  // like another pause
  CHECK(ladder.muted);
  if (!ladder.muted) return;
  const double off = std::abs(static_cast<double>(ladder.muted->at) / rate_hz - last.end_s);
  score.worst_silence_s = std::max(score.worst_silence_s, off);
}

void check_onset(const Damage& d, const Recording& r,
                 const std::vector<measure::MeasuredStep>& steps, double onset_db, int shift,
                 Score& score) {
  const LadderInput input{Dbfs(d.first_dbfs), Decibels(d.rise_db)};
  const auto onset = judge_onset(1, steps, input, Hertz(rate_hz), {});
  const auto over = std::count_if(r.steps.begin(), r.steps.end(), [&](const Heard& step) {
    return step.whole && d.input(step.index) > onset_db + 0.3;
  });
  if (over < 1) return;
  CHECK(onset.flat_top);
  if (!onset.flat_top || !onset.flat_top->input) return;
  const double found = onset.flat_top->input->value() - shift * d.rise_db;
  score.worst_onset_db = std::max(score.worst_onset_db, std::abs(found - onset_db));
  ++score.onsets;
}

void one_trial(Random& random, const Faults& faults, Score& score) {
  const bool slow_tone = one_of(random, 4) == 0;
  const Damage d = random_damage(random, faults, slow_tone);
  const double onset_db = between(random, -9.0, -4.0);
  const Stage stage = random_stage(random, slow_tone ? 50.0 : 997.0, onset_db);
  const Recording r = record(d, stage, random);
  if (!can_be_placed(d, r, onset_db)) return;
  ++score.ladders;
  const auto found =
      measure::locate_ladder(track_of(r.samples, Hertz(rate_hz)), {d.steps, d.rise_db, {}});
  CAPTURE(d.dwell_s);
  CAPTURE(d.pause_s);
  CAPTURE(d.uneven_s);
  CAPTURE(d.rise_db);
  CAPTURE(d.late_s);
  CAPTURE(d.early_s);
  CAPTURE(static_cast<int>(d.hole));
  CAPTURE(d.hole_at);
  CAPTURE(d.mute_s);
  CAPTURE(onset_db);
  CAPTURE(slow_tone);
  CHECK(found);
  if (!found) return;
  CHECK(found->surplus == 0);
  const auto steps = measured(r.samples, Hertz(rate_hz), found->steps);
  const int shift = check_places(r, steps, score);
  check_levels(d, r, stage, steps, score);
  check_onset(d, r, steps, onset_db, shift, score);
  if (looks_whole(d, r, slow_tone)) return;
  const bool told = found->numbering != measure::Numbering::unknown;
  const bool can_be_told = d.late_s == 0.0 || (d.early_s == 0.0 && d.mute_s == 0.0);
  CHECK((told || !can_be_told));
  check_silence(d, r, *found, score);
  if (!told) return;
  ++score.told;
  CHECK(shift == 0);
  check_missing(d, *found);
}

// A step cut out where a rail holds its neighbours, each over it by 1 dB or more.
void one_flat_hole(Random& random, Score& score) {
  Damage d;
  d.dwell_s = log_between(random, 0.25, 1.0);
  if (one_of(random, 2) == 0) d.pause_s = log_between(random, 0.06, 0.4);
  d.hole = Hole::cut_out;
  const double onset_db = between(random, -10.0, -8.0);
  const int first_over = static_cast<int>(std::ceil((onset_db + 1.1 - d.first_dbfs) / d.rise_db));
  d.hole_at = first_over + 1 + one_of(random, d.steps - 2 - first_over);
  const Stage stage = random_stage(random, one_of(random, 4) == 0 ? 50.0 : 997.0, onset_db);
  const Recording r = record(d, stage, random);
  ++score.ladders;
  CAPTURE(d.dwell_s);
  CAPTURE(d.pause_s);
  CAPTURE(d.hole_at);
  CAPTURE(onset_db);
  CAPTURE(stage.hz);
  auto found =
      measure::locate_ladder(track_of(r.samples, Hertz(rate_hz)), {d.steps, d.rise_db, {}});
  CHECK(found);
  if (!found) return;
  auto steps = measured(r.samples, Hertz(rate_hz), found->steps);
  place_by_distortion(steps, *found, d.steps);
  CHECK(found->by_distortion == std::vector<int>{d.hole_at});
  const int shift = check_places(r, steps, score);
  CHECK(shift == 0);
  check_levels(d, r, stage, steps, score);
  check_onset(d, r, steps, onset_db, shift, score);
  if (found->numbering == measure::Numbering::unknown) return;
  ++score.told;
  check_missing(d, *found);
}

// Syllables of 80 to 300 ms, harmonics of a voice of 90 to 180 Hz that fall by 6 dB an octave, with
// short and long pauses.
void talk_over(std::vector<double>& x, double first_s, double end_s, double rms, Random& random) {
  constexpr int harmonics = 20;
  constexpr double rms_of_one = 0.8;  // √(Σ 1/k²/2), about; the envelope takes a little
  const auto limit = std::min(std::ssize(x), sample(end_s));
  for (auto at = sample(first_s); at < limit;) {
    const double hz = between(random, 90.0, 180.0);
    const double gain = between(random, 0.3, 1.7) * rms / rms_of_one;
    const auto length = std::min(sample(between(random, 0.08, 0.3)), limit - at);
    for (std::ptrdiff_t n = 0; n < length; ++n) {
      const auto part = static_cast<double>(n) / static_cast<double>(length);
      double voice = 0.0;
      for (int k = 1; k <= harmonics; ++k)
        voice += std::sin(2.0 * pi * hz * k * static_cast<double>(n) / rate_hz) / k;
      x[static_cast<std::size_t>(at + n)] += gain * std::sqrt(std::sin(pi * part)) * voice;
    }
    const bool long_pause = one_of(random, 4) == 0;
    at += length + sample(long_pause ? between(random, 0.2, 0.6) : between(random, 0.02, 0.08));
  }
}

// Somebody talks before a whole ladder and over its first steps, as loud as these or softer.
void one_talked_over(Random& random, Score& score) {
  Damage d;
  d.dwell_s = log_between(random, 0.4, 1.0);
  d.rise_db = one_of(random, 3) == 0 ? 2.0 : 1.0;
  d.steps = static_cast<int>(20.0 / d.rise_db) + 1;
  const double onset_db = between(random, -9.0, -4.0);
  const Stage stage = random_stage(random, 997.0, onset_db);
  Recording r = record(d, stage, random);
  const double before_s = between(random, 0.5, 4.0);
  r.samples.insert(r.samples.begin(), static_cast<std::size_t>(sample(before_s)), 0.0);
  for (Heard& step : r.steps) {
    step.first_s += before_s;
    step.end_s += before_s;
  }
  const double start_s = r.steps.front().first_s;
  const double voice_db = between(random, -30.0, -18.0);
  const double end_s = start_s + between(random, -0.3, 3.0) * d.dwell_s;
  talk_over(r.samples, between(random, 0.0, start_s - 0.5), end_s,
            stage.scale * std::pow(10.0, voice_db / 20.0), random);
  ++score.ladders;
  CAPTURE(d.dwell_s);
  CAPTURE(d.rise_db);
  CAPTURE(onset_db);
  CAPTURE(voice_db);
  CAPTURE(end_s - start_s);
  const auto found =
      measure::locate_ladder(track_of(r.samples, Hertz(rate_hz)), {d.steps, d.rise_db, {}});
  CHECK(found);
  if (!found) return;
  // A syllable as long as a step, on the pace and of the right level is one step too many.
  if (found->surplus > 0 || found->numbering == measure::Numbering::unknown) return;
  const auto steps = measured(r.samples, Hertz(rate_hz), found->steps);
  for (const auto& step : steps) {
    // What is talked over may begin wherever a syllable does, up to a fifth of a step beside it.
    const auto& heard = r.steps.at(static_cast<std::size_t>(step.step.index));
    const double middle_s = 0.5 * static_cast<double>(step.step.first + step.step.end) / rate_hz;
    const double beside_s = 0.2 * d.dwell_s;
    CHECK((middle_s > heard.first_s - beside_s && middle_s < heard.end_s + beside_s));
  }
  check_missing(d, *found);
  check_onset(d, r, steps, onset_db, 0, score);
  ++score.told;
}

// How often what is told of the onset is beyond twice its uncertainty.
struct Coverage {
  int ladders = 0, found = 0, beyond = 0;
  double worst_db = 0.0;  // beyond it

  void add(const std::optional<OnsetPoint>& told, const std::optional<double>& truth) {
    constexpr double grain_db = 0.005;
    if (!told || !told->input || !truth) return;
    ++found;
    const double beyond_db =
        std::abs(told->input->value() - *truth) - 2.0 * told->uncertainty.value() - grain_db;
    if (beyond_db > 0.0) ++beyond;
    worst_db = std::max(worst_db, beyond_db);
  }
};

// Somebody talks over the steps where clipping begins, 15 dB below full scale or softer.
void one_talked_over_at_the_onset(Random& random, Coverage& thdn, Coverage& flat_top) {
  Damage d;
  d.dwell_s = log_between(random, 0.4, 1.5);
  d.rise_db = one_of(random, 3) == 0 ? 2.0 : 1.0;
  d.steps = static_cast<int>(24.0 / d.rise_db) + 1;
  d.first_dbfs = -24.0;
  const double onset_db = between(random, -9.0, -5.0);
  const Stage stage = random_stage(random, one_of(random, 3) == 0 ? 100.0 : 997.0, onset_db);
  Recording r = record(d, stage, random);
  const double at_onset_s =
      r.steps.front().first_s + d.dwell_s * (onset_db - d.first_dbfs) / d.rise_db;
  const double middle_s = at_onset_s + between(random, -1.0, 2.0) * d.dwell_s;
  const double half_s = 0.5 * between(random, 0.5, 2.5) * d.dwell_s;
  const double voice_db = between(random, -40.0, -15.0);
  talk_over(r.samples, middle_s - half_s, middle_s + half_s,
            stage.scale * std::pow(10.0, voice_db / 20.0), random);
  ++thdn.ladders;
  const auto found =
      measure::locate_ladder(track_of(r.samples, Hertz(rate_hz)), {d.steps, d.rise_db, {}});
  CHECK(found);
  if (!found || found->numbering == measure::Numbering::unknown) return;
  const auto onset =
      judge_onset(1, measured(r.samples, Hertz(rate_hz), found->steps),
                  LadderInput{Dbfs(d.first_dbfs), Decibels(d.rise_db)}, Hertz(rate_hz), {});
  CAPTURE(d.dwell_s);
  CAPTURE(d.rise_db);
  CAPTURE(stage.hz);
  CAPTURE(onset_db);
  CAPTURE(voice_db);
  const auto truth = true_thdn_onset(stage, 0.01);
  const int before = thdn.beyond + flat_top.beyond;
  thdn.add(onset.thdn, truth);
  flat_top.add(onset.flat_top, onset_db);
  if (thdn.beyond + flat_top.beyond > before) {
    MESSAGE("beyond: THD+N " << onset.thdn->input->value() - *truth << " ± "
                             << 2.0 * onset.thdn->uncertainty.value());
  }
}

void check_score(const std::string& what, const Score& score) {
  MESSAGE(what << ": " << score.ladders << " ladders, " << score.told << " numbered, "
               << score.found << " steps, worst level " << score.worst_level_db << " dB, "
               << score.onsets << " onsets, worst " << score.worst_onset_db
               << " dB, silence within " << score.worst_silence_s << " s");
  CHECK(score.beyond == 0);
  CHECK(score.worst_level_db < 0.043);   // 0.5 % of the volts; 0.016 usually
  CHECK(score.worst_onset_db < 0.02);    // as of whole ladders
  CHECK(score.worst_silence_s < 0.025);  // two frames and a half
}

void run(const std::string& what, const Faults& faults, int trials, unsigned seed) {
  Random random(seed);
  Score score;
  for (int i = 0; i < trials; ++i) {
    CAPTURE(i);
    one_trial(random, faults, score);
  }
  check_score(what, score);
  CHECK(score.ladders > trials / 2);
}

}  // namespace

TEST_CASE("damaged ladders: pauses and steps of 80 ms, 160 ladders") {
  run("pauses", {.pauses = true}, 50, 61);
  run("quick", {.quick = true}, 60, 62);
  run("quick, pauses", {.pauses = true, .quick = true}, 50, 63);
}

TEST_CASE("damaged ladders: late starts, early stops, holes, 160 ladders") {
  run("late", {.late = true}, 40, 64);
  run("early", {.early = true}, 40, 65);
  run("late and early", {.late = true, .early = true}, 40, 66);
  run("holes", {.holes = true}, 40, 67);
}

TEST_CASE("damaged ladders: a step cut out among flat ones, 40 ladders") {
  Random random(79);
  Score score;
  for (int i = 0; i < 40; ++i) {
    CAPTURE(i);
    one_flat_hole(random, score);
  }
  check_score("flat holes", score);
  CHECK(score.told == score.ladders);
}

TEST_CASE("damaged ladders: an output that goes silent, 100 ladders") {
  run("silent", {.mute = true}, 50, 68);
  run("silent, late", {.late = true, .mute = true}, 50, 69);
}

TEST_CASE("damaged ladders: every fault at once, 160 ladders") {
  Random random(70);
  for (unsigned seed = 71; seed < 79; ++seed) {
    Faults faults;
    for (bool* fault :
         {&faults.pauses, &faults.quick, &faults.late, &faults.early, &faults.holes, &faults.mute})
      *fault = one_of(random, 2) == 0;
    run("mixed", faults, 20, seed);
  }
}

TEST_CASE("damaged ladders: somebody talks over the steps where it clips, 80 ladders") {
  Random random(81);
  Coverage thdn, flat_top;
  for (int i = 0; i < 80; ++i) {
    CAPTURE(i);
    one_talked_over_at_the_onset(random, thdn, flat_top);
  }
  for (const Coverage& c : {thdn, flat_top}) {
    MESSAGE("talked over at the onset: " << c.found << " of " << thdn.ladders << " found, "
                                         << c.beyond << " beyond what is told, by up to "
                                         << c.worst_db << " dB");
    CHECK(c.found >= thdn.ladders - 4);
    CHECK(20 * c.beyond <= c.found);  // 95 in 100
    CHECK(c.worst_db < 0.3);
  }
}

TEST_CASE("damaged ladders: somebody talks before and over the first steps, 60 ladders") {
  Random random(80);
  Score score;
  for (int i = 0; i < 60; ++i) {
    CAPTURE(i);
    one_talked_over(random, score);
  }
  check_score("talked over", score);
  CHECK(score.told >= score.ladders - 3);
  CHECK(score.onsets >= score.ladders - 3);
}
