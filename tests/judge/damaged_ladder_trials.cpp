// SPDX-License-Identifier: MIT
// Random ladders that are not whole: pauses, short steps, late starts, early stops, holes, and an
// output that goes silent. Where each step was put, its level, and the onset, against the truth.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "measure/ladder_alignment.hpp"
#include "measure/level_stretches.hpp"
#include "support/onset_of.hpp"
#include "support/played_steps.hpp"
#include "support/random_draws.hpp"

using namespace railtap;
using namespace railtap::judge;
using namespace railtap::test;

namespace {

constexpr double rate_hz = 48000.0;

enum class Hole { none, silent, cut_out };

// A ladder as it was played, and what became of it.
struct Damage {
  int steps = 21;
  double first_dbfs = -20.0, rise_db = 1.0;
  double dwell_s = 0.5, pause_s = 0.0, jitter_s = 0.0;
  double lead_s = 0.6, tail_s = 0.6;
  double late_s = 0.0;   // the recording starts so much after the ladder; 0: before it
  double early_s = 0.0;  // it ends so much before the ladder does
  Hole hole = Hole::none;
  int hole_at = 0;
  double mute_s = 0.0;  // after the ladder's start; 0: never
};

struct TrueStep {
  int index;
  double first_s, end_s;  // in the recording, clipped to what is heard of it
  bool whole;
};

struct Recording {
  std::vector<double> samples;
  std::vector<TrueStep> steps;
};

Recording record(const Damage& d, const Stage& stage, Random& random) {
  std::vector<Played> played{{std::nullopt, d.lead_s}};
  std::vector<TrueStep> steps;
  double at = d.lead_s;
  for (int k = 0; k < d.steps; ++k) {
    const bool hole = d.hole != Hole::none && k == d.hole_at;
    if (hole && d.hole == Hole::cut_out) continue;
    const double pause =
        d.pause_s > 0.0 ? std::max(0.05, d.pause_s + between(random, -d.jitter_s, d.jitter_s)) : 0.0;
    if (hole) {
      played.push_back({std::nullopt, d.dwell_s});
    } else {
      played.push_back({d.first_dbfs + d.rise_db * k, d.dwell_s});
      steps.push_back({k, at, at + d.dwell_s, true});
    }
    at += d.dwell_s;
    if (pause > 0.0) played.push_back({std::nullopt, pause});
    at += pause;
  }
  played.push_back({std::nullopt, d.tail_s});
  Recording recording;
  recording.samples = play(played, stage, random);
  auto& x = recording.samples;
  if (d.mute_s > 0.0) {
    // What is left is the noise of the input.
    std::normal_distribution<double> noise(0.0, stage.noise_rms);
    const auto first = static_cast<std::size_t>((d.lead_s + d.mute_s) * rate_hz);
    for (std::size_t n = first; n < x.size(); ++n) x[n] = noise(random);
  }
  const double skipped_s = d.late_s > 0.0 ? d.lead_s + d.late_s : 0.0;
  const double end_s =
      d.early_s > 0.0 ? at - d.early_s : static_cast<double>(x.size()) / rate_hz;
  x.resize(std::min(x.size(), static_cast<std::size_t>(end_s * rate_hz)));
  x.erase(x.begin(), x.begin() + static_cast<std::ptrdiff_t>(skipped_s * rate_hz));
  const double heard_end = d.mute_s > 0.0 ? std::min(end_s, d.lead_s + d.mute_s) : end_s;
  for (TrueStep step : steps) {
    const double first = std::max(step.first_s, skipped_s);
    const double end = std::min(step.end_s, heard_end);
    if (end <= first) continue;
    step.whole = end - first > d.dwell_s - 1e-6;
    step.first_s = first - skipped_s;
    step.end_s = end - skipped_s;
    recording.steps.push_back(step);
  }
  return recording;
}

struct Score {
  int ladders = 0, refused = 0, missed = 0, misplaced = 0, invented = 0, steps = 0, renumbered = 0;
  double worst_level = 0.0;
};

// dB between a measured level and the truth's.
double level_error(const measure::MeasuredStep& step, const Stage& stage, double input_dbfs) {
  const double level = 10.0 * std::log10(2.0 * (step.block.fundamental + step.block.harmonics));
  return level - true_level(stage, input_dbfs);
}

}  // namespace

TEST_CASE("damaged ladders: scratch") {
  const int trials = std::getenv("TRIALS") ? std::atoi(std::getenv("TRIALS")) : 100;
  const bool verbose = std::getenv("VERBOSE") != nullptr;
  Random random(static_cast<unsigned>(std::getenv("SEED") ? std::atoi(std::getenv("SEED")) : 1));
  Score score;
  double worst_onset = 0;
  int onsets = 0, no_onset = 0;
  for (int t = 0; t < trials; ++t) {
    Damage d;
    const double hz = one_of(random, 4) == 0 ? 50.0 : 997.0;
    d.dwell_s = one_of(random, 3) == 0 ? 0.08 : log_between(random, 0.1, 1.0);
    if (hz < 100.0) d.dwell_s = std::max(d.dwell_s, 0.15);
    d.rise_db = one_of(random, 3) == 0 ? 2.0 : (one_of(random, 2) == 0 ? 1.0 : 0.5);
    d.steps = static_cast<int>(20.0 / d.rise_db) + 1;
    if (one_of(random, 2) == 0) d.pause_s = log_between(random, 0.06, 0.6);
    if (d.pause_s > 0.0 && one_of(random, 3) == 0) d.jitter_s = 0.5 * d.pause_s;
    const double period = d.dwell_s + d.pause_s;
    const double total = period * d.steps;
    if (one_of(random, 3) == 0) d.late_s = between(random, 0.02, 0.35) * total;
    if (one_of(random, 4) == 0) d.early_s = between(random, 0.02, 0.3) * total;
    const int hole = one_of(random, 4);
    d.hole = hole == 0 ? Hole::silent : hole == 1 ? Hole::cut_out : Hole::none;
    d.hole_at = 1 + one_of(random, d.steps / 2);
    if (one_of(random, 3) == 0) d.mute_s = between(random, 0.5, 0.95) * total;
    if (d.mute_s > 0.0 && one_of(random, 2) == 0)
      d.mute_s = period * std::floor(d.mute_s / period) + d.dwell_s * between(random, 0.0, 1.0);
    Stage stage;
    stage.hz = hz;
    stage.scale = between(random, 0.2, 0.9);
    stage.chain = coupling(between(random, 1.0, 20.0));
    const double onset_db = between(random, -9.0, -4.0);
    const double rail = std::pow(10.0, onset_db / 20.0);
    stage.law = [=](double x) { return std::clamp(x, -rail, rail); };
    stage.noise_rms = stage.scale * rail / std::sqrt(2.0) * std::pow(10.0, -50.0 / 20.0);
    const Recording r = record(d, stage, random);
    ++score.ladders;
    const auto track = track_of(r.samples, Hertz(rate_hz));
    const auto found = measure::locate_ladder(track, {d.steps, d.rise_db, {}});
    const auto describe = [&] {
      std::string why;
      if (found) {
        for (const auto& m : found->missing)
          why += " " + std::to_string(m.index) + "/" + std::to_string(static_cast<int>(m.why));
      }
      std::printf(
          "trial %d: hz %.0f dwell %.3f pause %.3f jit %.3f rise %.1f n %d late %.2f early %.2f hole %d@%d "
          "mute %.2f onset %.2f | true %d..%d (%zu) numbering %d surplus %d missing%s\n",
          t, hz, d.dwell_s, d.pause_s, d.jitter_s, d.rise_db, d.steps, d.late_s, d.early_s,
          static_cast<int>(d.hole), d.hole == Hole::none ? -1 : d.hole_at, d.mute_s, onset_db, r.steps.front().index,
          r.steps.back().index, r.steps.size(), found ? static_cast<int>(found->numbering) : -1,
          found ? found->surplus : 0, why.c_str());
    };
    if (std::getenv("DUMP") && std::atoi(std::getenv("DUMP")) == t) {
      for (const auto& st : measure::find_stretches(track))
        std::printf("   %8.4f %8.4f  len %7.4f  %8.3f\n", st.first / rate_hz, st.end / rate_hz,
                    st.length() / rate_hz, st.level_db);
      const auto p = measure::short_term_power(track);
      for (std::size_t i = 0; i < 120 && i < p.size(); ++i) std::printf("%.2f ", 10 * std::log10(p[i]));
      std::printf("\n");
    }
    if (!found || found->surplus > 0) {
      ++score.refused;
      describe();
      continue;
    }
    // By time: which true step each found one lies in.
    int offset = -1000;
    int missed = 0, misplaced = 0, invented = 0;
    const auto steps = measured(r.samples, Hertz(rate_hz), found->steps);
    std::string bad;
    for (const auto& m : steps) {
      const double a = static_cast<double>(m.step.inner_first) / rate_hz;
      const double b = static_cast<double>(m.step.inner_end) / rate_hz;
      const auto it = std::find_if(r.steps.begin(), r.steps.end(), [&](const TrueStep& s) {
        return a >= s.first_s - 1e-3 && b <= s.end_s + 2e-3;
      });
      if (it == r.steps.end()) {
        ++invented;
        bad += " inv" + std::to_string(m.step.index) + "@" + std::to_string(a);
        continue;
      }
      const int off = m.step.index - it->index;
      if (found->numbering == measure::Numbering::unknown && offset == -1000) offset = off;
      if (off != (found->numbering == measure::Numbering::unknown ? offset : 0)) {
        ++misplaced;
        bad += " mis" + std::to_string(it->index) + ">" + std::to_string(m.step.index);
      }
      ++score.steps;
      if (!m.block.tone && !it->whole) continue;
      if (!m.block.tone) {
        bad += " notone" + std::to_string(it->index);
        ++missed;
        continue;
      }
      const double e = std::abs(level_error(m, stage, d.first_dbfs + d.rise_db * it->index));
      if (e > 0.0433) bad += " lev" + std::to_string(it->index) + "=" + std::to_string(e);
      score.worst_level = std::max(score.worst_level, e);
    }
    for (const TrueStep& s : r.steps) {
      if (!s.whole) continue;
      const bool there = std::any_of(steps.begin(), steps.end(), [&](const auto& m) {
        const double mid = static_cast<double>(m.step.inner_first + m.step.inner_end) / 2 / rate_hz;
        return mid > s.first_s && mid < s.end_s;
      });
      if (!there) {
        ++missed;
        bad += " missed" + std::to_string(s.index);
      }
    }
    score.missed += missed;
    score.misplaced += misplaced;
    score.invented += invented;
    if (!bad.empty() || verbose) {
      describe();
      std::printf("    %s\n", bad.c_str());
    }
    if (misplaced == 0 && invented == 0) {
      const auto o = judge_onset(1, steps, LadderInput{Dbfs(d.first_dbfs), Decibels(d.rise_db)},
                                 Hertz(rate_hz), {});
      const double shift = offset == -1000 ? 0.0 : offset * d.rise_db;
      if (o.flat_top && o.flat_top->input) {
        const double e = std::abs(o.flat_top->input->value() - shift - onset_db);
        if (e > 0.03) {
          describe();
          std::printf("    onset off %.4f ± %.4f\n", e, o.flat_top->uncertainty.value());
        }
        worst_onset = std::max(worst_onset, e);
        ++onsets;
      } else if (d.first_dbfs + d.rise_db * (r.steps.back().index - 1) > onset_db + 0.5) {
        ++no_onset;
        describe();
        std::printf("    no onset, verdict %s\n", name(o.verdict));
      }
    }
  }
  std::printf(
      "ladders %d refused %d steps %d missed %d misplaced %d invented %d worst level %.4f onset "
      "worst %.4f of %d, none %d\n",
      score.ladders, score.refused, score.steps, score.missed, score.misplaced, score.invented,
      score.worst_level, worst_onset, onsets, no_onset);
}
