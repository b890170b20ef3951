// SPDX-License-Identifier: MIT
// A recording against the track that was played.
#include "measure/played_programme.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "measure/kernels.hpp"
#include "measure/linear_chain.hpp"
#include "measure/track_delays.hpp"
#include "measure/track_search.hpp"

namespace railtap::measure {
namespace {

constexpr std::size_t piece_length = DelayMeter::piece_length;
constexpr std::size_t most_pieces = 100;
constexpr double least_likeness = 0.05;
// Clocks differ by 500 ppm at most, and the search is off by 2 ms over a second or more; delays
// that grow faster are not those of the track.
constexpr double steepest = 2.5e-3;
constexpr std::int64_t rows = 30000;        // samples that a fit takes
constexpr std::int64_t first_rows = 10000;  // of the fit that chooses the side
constexpr int most_rounds = 3, most_bass_rounds = 6;
constexpr Decibels clipped_in_front{1.0};   // as little as the bound of what an answer may miss
constexpr double settled_hz = 0.6;          // a corner that moves less changes nothing
constexpr double worth_a_bass_round = 0.9;  // of the residual
// Steps of a coupling's corner. A flat top of bass is 10 ms long, and tilts by 1.6 % with 0.25 Hz.
constexpr Hertz finer_corners{0.7}, finest_corners{0.25};
constexpr Hertz middle_coupling{8.0};  // of those that are likely
constexpr double worth_a_round = 0.5;  // of what is missing at the peaks, left by flat tops
constexpr double farthest_off = 3.0;   // times the RMS misfit
constexpr double below_rail = 0.6;     // of the highest recorded sample
// Sides whose residuals differ by less carry the same.
constexpr double alike = 1.06;  // 0.5 dB

// A low-pass for bass passes music 3 to 8 ms late (Butterworth and Linkwitz-Riley, 50 to 120 Hz, 12
// and 24 dB an octave), a subsonic filter delays its lowest notes more: so much before the place
// that bass is found at, the response may begin.
constexpr double bass_ahead_s = 0.012;
constexpr double low_passed = 0.1;  // of the mean square of the track's frequencies, or less
constexpr int most_drift_rounds = 6;
constexpr double settled_samples = 0.02;  // at either end; turns 100 Hz by -69 dB
constexpr double worth_a_drift = 0.97;    // of the residual; less of a gain is none
constexpr double beside_s = 0.5e-3;
constexpr double drift_scale = 100.0;  // brings the drift's unknown to the size of the others

double sum_of_products(const std::vector<double>& a, const std::vector<double>& b) {
  return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
}

/// Everything that is known of a chain.
struct Chain {
  std::vector<double> response;
  double residual = 1.0;  // of the samples that were fitted
  double misfit = 0.0;    // the same in full scales, RMS
  double drift = 0.0;     // by how much faster than the place the track went by; where asked for
  double slowed = 1.0;    // mean square of the recording's frequencies over the track's
};

/// The highest magnitudes of the track and of what the chain makes of it, where they are compared.
struct Heights {
  double played = 0.0, predicted = 0.0;
};

enum class Drift { none, free };

/// The mean square of a signal's frequencies, (radians per sample)²: of its changes over its own.
class MeanSquareFrequency {
 public:
  void add(double earlier, double now) {
    changes_ += (now - earlier) * (now - earlier);
    squares_ += now * now;
  }
  [[nodiscard]] double read() const { return squares_ > 0.0 ? changes_ / squares_ : 0.0; }

 private:
  double changes_ = 0.0, squares_ = 0.0;
};

/// Steps of random length, `mean` on average: even ones would go along with what is periodic. The
/// multiplier is D. Knuth's, TAOCP 2, 3rd ed., 3.3.4.
class RandomSteps {
 public:
  explicit RandomSteps(std::int64_t mean) : range_(static_cast<std::uint64_t>(2 * mean - 1)) {}
  std::int64_t next() {
    state_ = state_ * 6364136223846793005ULL + 1442695040888963407ULL;
    return 1 + static_cast<std::int64_t>((state_ >> 33) % range_);
  }

 private:
  std::uint64_t range_, state_ = 1;
};

class Comparison {
 public:
  Comparison(const OpenStream& recording, std::size_t channel, std::int64_t frames, double highest,
             const OpenStream& track)
      : recording_(recording),
        track_(track),
        channel_(channel),
        frames_(frames),
        highest_(highest),
        rate_(recording().rate.value()),
        beside_(static_cast<std::size_t>(beside_s * rate_)) {}

  /// Moves `place` by the delays found; against the chain's prediction where there is one.
  bool refine(TrackPlace& place, const Chain* chain) const {
    const auto delays = delays_of(place, chain);
    const auto line = robust_line(delays);
    if (!line || !(std::abs(line->slope) < steepest)) return false;
    // The recording comes later than the track was taken to: at n, the track is at n − delay.
    place.start -= line->at_start * place.step;
    place.step *= 1.0 - line->slope;
    return true;
  }

  /// Fits the response, on samples below the rails.
  /// \param before   the last one, or null: samples far from its prediction are left out
  /// \param coupling corner of the high-pass behind the rails, if it is known: with it taken out,
  /// a cut peak leaves no trace in the samples after it
  /// \param drift    free: with one unknown more, the ratio of the clocks, which needs a last
  /// response: prediction v and recording v(n + drift·(n − middle)) differ by drift·(n − middle)·v'
  Chain fit(const TrackPlace& place, const Chain* before, std::int64_t wanted,
            Hertz coupling = Hertz(0.0), Drift drift = Drift::none) const {
    ResponseBasis basis;
    const std::size_t size = basis.size();
    const bool with_drift = drift == Drift::free && before != nullptr;
    ResponseFit squares(size + (with_drift ? 1 : 0));
    std::vector<double> values(size + (with_drift ? 1 : 0)), earlier(size), later(size),
        recorded(AlignedPair::block), played(AlignedPair::block);
    CouplingInverse recorded_inverse(coupling, Hertz(rate_)),
        played_inverse(coupling, Hertz(rate_));
    AlignedPair pair(recording_, channel_, track_, place, ResponseBasis::ahead);
    RandomSteps steps(std::max<std::int64_t>(1, frames_ / wanted));
    MeanSquareFrequency of_recording, of_track;
    std::int64_t position = 0, next = 0;
    while (pair.next()) {
      const std::size_t count = pair.recorded().size();
      recorded_inverse.restore(pair.recorded(), recorded);
      played_inverse.restore(pair.played(), played);
      basis.push(std::span<const double>(played).first(count));
      for (; next < position + static_cast<std::int64_t>(count); next += steps.next()) {
        if (!pair.inside() || next < first_known(place)) continue;
        const auto n = static_cast<std::size_t>(next - position);
        if (n > 0) {
          of_recording.add(recorded[n - 1], recorded[n]);
          of_track.add(played[n - 1], played[n]);
        }
        basis.at(n, std::span(values).first(size));
        if (with_drift) {
          if (n + beside_ >= count) continue;
          basis.at(n - beside_, earlier);  // before the block as well
          basis.at(n + beside_, later);
          values[size] = drift_scale * along(next) * slope(before->response, earlier, later);
        }
        if (takes_part(recorded[n], values, before, coupling)) squares.add(values, recorded[n]);
      }
      position += static_cast<std::int64_t>(count);
    }
    Chain chain{squares.solve()};
    if (chain.response.empty()) return chain;
    chain.residual = squares.residual(chain.response);
    chain.misfit = squares.misfit(chain.response);
    if (of_track.read() > 0.0) chain.slowed = of_recording.read() / of_track.read();
    if (with_drift) chain.drift = drift_scale * chain.response.back() / middle();
    chain.response.resize(size);
    return chain;
  }

  /// Fits the response and the ratio of the clocks together, once, and moves `place` by it. Bass is
  /// too slow for delays of short pieces, and its phase too sharp for delays that are a bit off.
  Chain fit_moving(TrackPlace& place, const Chain& before, std::int64_t wanted,
                   Hertz coupling = Hertz(0.0)) const {
    Chain chain = fit(place, &before, wanted, coupling, Drift::free);
    place.start -= chain.drift * middle() * place.step;
    place.step *= 1.0 + chain.drift;
    return chain;
  }

  /// The same until nothing moves. \returns false where there is no answer
  bool settle(TrackPlace& place, Chain& chain) const {
    for (int round = 0; round < most_drift_rounds; ++round) {
      Chain next = fit_moving(place, chain, first_rows);
      if (next.response.empty() || std::abs(next.drift) > steepest) return false;
      const bool gained = next.residual < worth_a_drift * chain.residual;
      chain = std::move(next);
      if (std::abs(chain.drift) * middle() < settled_samples || (round > 0 && !gained)) break;
    }
    return true;
  }

  /// Compares sample by sample. \param result gets gain, length and clipping
  Heights compare(const TrackPlace& place, const Chain& chain, const Corners& corners,
                  Hertz coupling, Tops tops, PlayedMeasurement& result) const {
    ResponseBasis basis;
    std::vector<double> predicted(AlignedPair::block);
    AlignedPair pair(recording_, channel_, track_, place, ResponseBasis::ahead);
    PredictedPeaks peaks(Hertz(rate_), highest_, corners);
    CutPeakWindows highest(Hertz(rate_), coupling);
    LargestDeparture departure{Hertz(rate_)};
    Heights heights;
    double played = 0.0, passed = 0.0, common = 0.0;
    std::int64_t position = 0, compared = 0;
    while (pair.next()) {
      basis.push(pair.played());
      const auto y = pair.recorded();
      basis.predict(chain.response, predicted);
      const bool known = position >= first_known(place);
      position += static_cast<std::int64_t>(y.size());
      for (std::size_t n = 0; n < y.size(); ++n)
        heights.played = std::max(heights.played, std::abs(basis.delayed(n)));
      if (!pair.inside() || !known) continue;
      const auto v = std::span<const double>(predicted).first(y.size());
      peaks.add(y, v);
      highest.add(y, v);
      departure.add(y, v);
      compared += static_cast<std::int64_t>(y.size());
      for (std::size_t n = 0; n < y.size(); ++n) {
        const double s = basis.delayed(n);
        heights.predicted = std::max(heights.predicted, std::abs(v[n]));
        played += s * s;
        passed += v[n] * v[n];
        common += v[n] * s;
      }
    }
    result.clipping = peaks.read(highest.read(), tops);
    result.clipping.departure = departure.read();
    result.compared = Seconds(static_cast<double>(compared) / rate_);
    if (played > 0.0) result.gain = std::sqrt(passed / played);
    result.inverted = common < 0.0;
    return heights;
  }

  /// What the recording would lack if the track had been clipped in front of the chain, as
  /// AddedClipping has it.
  double in_front(const TrackPlace& place, const Chain& chain, const Heights& heights) const {
    const double rail = heights.played / amplitude_ratio(clipped_in_front);
    constexpr auto blocks_remembered =
        static_cast<int>(ResponseBasis::longest / AlignedPair::block) + 1;
    ResponseBasis basis;
    AlignedPair pair(recording_, channel_, track_, place, ResponseBasis::ahead);
    std::vector<double> cut(AlignedPair::block), missing(AlignedPair::block);
    double largest = 0.0;
    std::int64_t position = 0;
    const std::int64_t first =
        first_known(place) + static_cast<std::int64_t>(LargestDeparture::beginning(Hertz(rate_)));
    for (int left = 0; pair.next(); position += static_cast<std::int64_t>(pair.played().size())) {
      const auto s = pair.played();
      std::transform(s.begin(), s.end(), cut.begin(),
                     [&](double x) { return x - std::clamp(x, -rail, rail); });
      basis.push(std::span<const double>(cut).first(s.size()));
      const bool any = std::any_of(cut.begin(), cut.end(), [](double x) { return x != 0.0; });
      left = any ? blocks_remembered : std::max(0, left - 1);
      if (left == 0 || !pair.inside() || position < first) continue;
      basis.predict(chain.response, missing);
      for (const double x : std::span<const double>(missing).first(s.size()))
        largest = std::max(largest, std::abs(x));
    }
    return heights.predicted > 0.0 ? largest / heights.predicted : 0.0;
  }

 private:
  [[nodiscard]] double middle() const { return 0.5 * static_cast<double>(frames_); }
  // −1 at the recording's start, 1 at its end.
  [[nodiscard]] double along(std::int64_t sample) const {
    return (static_cast<double>(sample) - middle()) / middle();
  }
  // Of the prediction, per sample, over a millisecond: treble that a low-pass has taken away is not
  // known in a response, and would have its say in each sample.
  [[nodiscard]] double slope(const std::vector<double>& response,
                             const std::vector<double>& earlier,
                             const std::vector<double>& later) const {
    double sum = 0.0;
    for (std::size_t k = 0; k < response.size(); ++k) sum += response[k] * (later[k] - earlier[k]);
    return sum / static_cast<double>(2 * beside_);
  }

  // The recorded sample from which on the prediction knows all that the chain still answers to: of
  // a recording that begins within the track, the basis has not seen what was played before.
  // A few samples make no difference.
  [[nodiscard]] static std::int64_t first_known(const TrackPlace& place) {
    constexpr double least_unseen = 64.0;
    return place.start > least_unseen ? static_cast<std::int64_t>(ResponseBasis::longest) : 0;
  }

  // With the coupling taken out, cut samples are those predicted high; without, traces of them lie
  // everywhere, and what is far off is left out.
  [[nodiscard]] bool takes_part(double recorded, const std::vector<double>& values,
                                const Chain* before, Hertz coupling) const {
    if (before == nullptr) return std::abs(recorded) < below_rail * highest_;
    const double predicted = sum_of_products(before->response, values);
    if (std::abs(predicted) > below_rail * highest_) return false;
    return coupling > Hertz(0.0) || std::abs(recorded - predicted) < farthest_off * before->misfit;
  }

  std::vector<Delay> delays_of(const TrackPlace& place, const Chain* chain) const {
    ResponseBasis basis;
    DelayMeter meter{Hertz(rate_)};
    AlignedPair pair(recording_, channel_, track_, place,
                     chain != nullptr ? ResponseBasis::ahead : 0);
    const auto blocks = static_cast<std::int64_t>(piece_length / AlignedPair::block);
    const std::int64_t pieces = frames_ / static_cast<std::int64_t>(piece_length);
    const std::int64_t every =
        std::max<std::int64_t>(1, pieces / static_cast<std::int64_t>(most_pieces));
    std::vector<double> recorded, reference, predicted(AlignedPair::block);
    std::vector<Delay> delays;
    for (std::int64_t b = 0; pair.next(); ++b) {
      if (chain != nullptr) basis.push(pair.played());
      const bool wanted = (b / blocks) % every == 0 && pair.inside();
      if (b % blocks == 0 || !wanted) {
        recorded.clear();
        reference.clear();
      }
      if (!wanted || pair.recorded().size() < AlignedPair::block) continue;
      recorded.insert(recorded.end(), pair.recorded().begin(), pair.recorded().end());
      if (chain != nullptr) {
        basis.predict(chain->response, predicted);
        reference.insert(reference.end(), predicted.begin(), predicted.end());
      } else {
        reference.insert(reference.end(), pair.played().begin(), pair.played().end());
      }
      if (recorded.size() < piece_length) continue;
      Delay found = meter.measure(recorded, reference);
      found.time = (static_cast<double>(b + 1) * AlignedPair::block) - piece_length / 2.0;
      if (found.likeness >= least_likeness) delays.push_back(found);
      recorded.clear();
      reference.clear();
    }
    return delays;
  }

  const OpenStream& recording_;
  const OpenStream& track_;
  std::size_t channel_;
  std::int64_t frames_;
  double highest_;
  double rate_;
  std::size_t beside_;  // samples, of the two that a slope is taken from
};

/// The side of the track with the least residual, its place and its chain.
struct Candidate {
  TrackPlace place;
  Chain chain;
  bool bass = false;  // whether the response may begin well before the place
};

std::optional<Candidate> try_side(const Comparison& comparison, TrackPlace place) {
  if (!comparison.refine(place, nullptr) || !comparison.refine(place, nullptr)) return std::nullopt;
  Candidate candidate{place, comparison.fit(place, nullptr, first_rows)};
  if (candidate.chain.response.empty()) return std::nullopt;
  return candidate;
}

std::optional<Candidate> try_bass(const Comparison& comparison, TrackPlace place, double ahead) {
  place.start += ahead * place.step;
  Candidate candidate{place, comparison.fit(place, nullptr, first_rows), true};
  if (candidate.chain.response.empty()) return std::nullopt;
  if (!comparison.settle(candidate.place, candidate.chain)) return std::nullopt;
  return candidate;
}

Chain better_fit(const Comparison& comparison, const TrackPlace& place, const Chain& before,
                 Hertz coupling) {
  Chain chain = comparison.fit(place, &before, rows, coupling);
  return chain.response.empty() ? before : chain;
}

bool cut(const AddedClipping& clipping) {
  return clipping.positive.flat || clipping.negative.flat;
}

bool looks_cut(const AddedClipping& clipping) {
  return cut(clipping) || clipping.left < worth_a_round;
}

/// The same with the ratio of the clocks anew.
Chain moved_fit(const Comparison& comparison, TrackPlace& place, const Chain& before,
                Hertz coupling) {
  TrackPlace moved = place;
  Chain chain = comparison.fit_moving(moved, before, first_rows, coupling);
  if (chain.response.empty() || std::abs(chain.drift) > steepest) return before;
  place = moved;
  return chain;
}

/// Where a response rises from nothing, and to which side.
struct Beginning {
  double place = 0.0;  // samples after the place
  bool negative = false;
};

// Of the means over a millisecond, where treble that the track does not have does not show.
Beginning beginning_of(const std::vector<double>& response, double rate) {
  constexpr double risen = 1.0 / 3.0;
  ResponseBasis basis;
  std::vector<double> impulse(AlignedPair::block, 0.0), answer(AlignedPair::block);
  impulse[0] = 1.0;
  basis.push(impulse);
  basis.predict(response, answer);
  const auto span = static_cast<std::size_t>(1e-3 * rate);
  std::vector<double> means(answer.size(), 0.0);
  double sum = 0.0, highest = 0.0;
  for (std::size_t n = 0; n < answer.size(); ++n) {
    sum += answer[n] - (n >= span ? answer[n - span] : 0.0);
    means[n] = sum;
    highest = std::max(highest, std::abs(sum));
  }
  const auto first = std::find_if(means.begin(), means.end(),
                                  [&](double m) { return std::abs(m) >= risen * highest; });
  if (first == means.end()) return {};
  const double middle =
      static_cast<double>(first - means.begin()) - 0.5 * static_cast<double>(span);
  return {middle - static_cast<double>(ResponseBasis::ahead), *first < 0.0};
}

/// A comparison, and what it was made with.
struct Compared {
  bool bass = false;
  TrackPlace place;
  Chain chain;
  PlayedMeasurement result;
  Heights heights;
};

Tops tops_of(bool bass) {
  return bass ? Tops::long_ones : Tops::any;
}

/// With a coupling taken out.
Compared once_more(const Comparison& comparison, Compared now, Hertz coupling, Hertz apart) {
  now.chain = better_fit(comparison, now.place, now.chain, coupling);
  now.heights = comparison.compare(now.place, now.chain, corners_around(coupling, apart), coupling,
                                   tops_of(now.bass), now.result);
  return now;
}

double moved_hz(const Compared& now, const Compared& before) {
  return std::abs((now.result.clipping.coupling - before.result.clipping.coupling).value());
}

/// A coupling that shows no rail was none, and made the chain no clearer.
const Compared& clearer(const Compared& first, const Compared& now) {
  const bool first_is =
      !cut(now.result.clipping) && first.result.clipping.residual < now.result.clipping.residual;
  return first_is ? first : now;
}

/// Peaks that look cut show the coupling behind the rail; with that known, the chain is known
/// better, and so is the rail.
Compared rounds(const Comparison& comparison, const Compared& first) {
  Compared now = first;
  for (int round = 0; round < most_rounds && looks_cut(now.result.clipping); ++round) {
    const Compared before = now;
    now = once_more(comparison, now, before.result.clipping.coupling, finer_corners);
    if (moved_hz(now, before) < settled_hz) break;
  }
  return clearer(first, now);
}

/// The same for bass, which a rail cuts for a large part of its time, so that chain, clocks and
/// corner need each other longer.
Compared bass_rounds(const Comparison& comparison, const Compared& first) {
  Compared now = first;
  Hertz apart = finer_corners;
  for (int round = 0; round < most_bass_rounds && looks_cut(now.result.clipping); ++round) {
    const Compared before = now;
    const Hertz coupling = before.result.clipping.coupling;
    now.chain = moved_fit(comparison, now.place, now.chain, coupling);
    now = once_more(comparison, now, coupling, apart);
    if (moved_hz(now, before) >= settled_hz) continue;
    const bool gains =
        now.result.clipping.residual < worth_a_bass_round * before.result.clipping.residual;
    if (apart == finest_corners && !gains) break;
    apart = finest_corners;
  }
  return clearer(first, now);
}

/// With the track's place in time, and what would not show.
PlayedMeasurement in_time(const Comparison& comparison, const Compared& compared, double rate,
                          double track_rate) {
  const TrackPlace& place = compared.place;
  PlayedMeasurement result = compared.result;
  double delay = -place.start / place.step;
  if (compared.bass) {
    const Beginning beginning = beginning_of(compared.chain.response, rate);
    delay += beginning.place;
    result.inverted = beginning.negative;
  }
  result.delay = Seconds(delay / rate);
  result.clock_ratio = place.step * rate / track_rate;
  const bool filtered = compared.bass || compared.chain.slowed < low_passed;
  if (filtered && !cut(result.clipping))
    result.clipping.in_front = comparison.in_front(place, compared.chain, compared.heights);
  return result;
}

/// The likeliest place and its side, of those that were looked at.
struct Choice {
  std::optional<Candidate> best;
  bool sides_alike = false;

  /// Likely places first; one that is much less alike is not looked at, and of a side that is well
  /// explained no second one.
  template <typename Try>
  void look_at(const std::vector<FoundTrack>& places, Try try_place) {
    constexpr double worth_a_look = 0.6;
    std::vector<PlayedSide> explained;
    double likeliest = 0.0;
    for (const FoundTrack& found : places) {
      likeliest = std::max(likeliest, found.likeness);
      if (found.likeness < worth_a_look * likeliest) continue;
      if (std::count(explained.begin(), explained.end(), found.place.side) > 0) continue;
      auto candidate = try_place(found.place);
      if (!candidate) continue;
      if (candidate->chain.residual < well_explained) explained.push_back(found.place.side);
      offer(std::move(*candidate));
    }
  }

  [[nodiscard]] bool bass_may_do_better() const {
    return !best || best->chain.residual > well_explained || best->chain.slowed < low_passed;
  }

 private:
  static constexpr double well_explained = 0.1;  // −20 dB

  void offer(Candidate candidate) {
    if (!best) {
      best = std::move(candidate);
      return;
    }
    const double ratio = candidate.chain.residual / best->chain.residual;
    const bool near = ratio < alike && ratio > 1.0 / alike;
    const bool same_kind = candidate.bass == best->bass;
    const bool better = same_kind && near ? candidate.place.side == PlayedSide::sum : ratio < 1.0;
    if (same_kind || better) sides_alike = same_kind && near;
    if (better) best = std::move(candidate);
  }
};

}  // namespace

std::optional<PlayedMeasurement> measure_played(const OpenStream& recording, std::size_t channel,
                                                std::int64_t frames, double highest,
                                                const OpenStream& track) {
  if (!(highest > 0.0)) return std::nullopt;
  const Comparison comparison(recording, channel, frames, highest, track);
  const double rate = recording().rate.value(), track_rate = track().rate.value();
  Choice choice;
  choice.look_at(find_track(recording, channel, frames, track, SearchedBand::whole),
                 [&](const TrackPlace& place) { return try_side(comparison, place); });
  if (choice.bass_may_do_better()) {
    choice.look_at(
        find_track(recording, channel, frames, track, SearchedBand::bass),
        [&](const TrackPlace& place) { return try_bass(comparison, place, bass_ahead_s * rate); });
  }
  if (!choice.best) return std::nullopt;
  TrackPlace place = choice.best->place;
  const bool bass = choice.best->bass;
  Chain chain = better_fit(comparison, place, choice.best->chain, Hertz(0.0));
  if (bass || comparison.refine(place, &chain))
    chain = better_fit(comparison, place, chain, Hertz(0.0));
  PlayedMeasurement result;
  result.side = place.side;
  result.sides_alike = choice.sides_alike;
  Compared compared{bass, place, chain, result, {}};
  compared.heights = comparison.compare(place, chain, coarse_corners(), middle_coupling,
                                        tops_of(bass), compared.result);
  compared = bass ? bass_rounds(comparison, compared) : rounds(comparison, compared);
  return in_time(comparison, compared, rate, track_rate);
}

}  // namespace railtap::measure
