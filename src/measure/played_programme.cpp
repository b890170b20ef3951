// SPDX-License-Identifier: MIT
// A recording against the track that was played.
#include "measure/played_programme.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <kissfft/kissfft.hh>
#include <numeric>

#include "measure/kernels.hpp"
#include "measure/linear_chain.hpp"
#include "measure/track_search.hpp"

namespace railtap::measure {
namespace {

using Complex = std::complex<double>;

constexpr std::size_t piece_length = 16384;  // 0.34 s at 48 kHz
constexpr std::size_t most_pieces = 100;
constexpr double farthest_s = 0.03;
constexpr double band_low_hz = 60.0, band_high_hz = 8000.0;
constexpr double least_likeness = 0.05;
// Clocks differ by 500 ppm at most, and the search is off by 2 ms over a second or more; delays
// that grow faster are not those of the track.
constexpr double steepest = 2.5e-3;
constexpr std::int64_t rows = 30000;        // samples that a fit takes
constexpr std::int64_t first_rows = 10000;  // of the fit that chooses the side
constexpr int most_rounds = 3;
constexpr double settled_hz = 0.6;     // a corner that moves less changes nothing
constexpr Hertz middle_coupling{8.0};  // of those that are likely
constexpr double worth_a_round = 0.5;  // of what is missing at the peaks, left by flat tops
constexpr double farthest_off = 3.0;   // times the RMS misfit
constexpr double below_rail = 0.6;     // of the highest recorded sample
// Sides whose residuals differ by less carry the same.
constexpr double alike = 1.06;  // 0.5 dB

struct Delay {
  double time = 0.0;   // recording samples, middle of the piece
  double delay = 0.0;  // samples by which the reference comes too early
  double likeness = 0.0;
};

/// Delays of pieces of two signals by the phase transform.
class DelayMeter {
 public:
  explicit DelayMeter(double rate) : rate_(rate) {}

  Delay measure(const std::vector<double>& recorded, const std::vector<double>& reference) {
    const auto x = spectrum(recorded), s = spectrum(reference);
    const auto bin = [&](double hz) { return static_cast<std::size_t>(hz / rate_ * length); };
    std::vector<Complex> cross(length), correlation(length);
    const std::size_t high = std::min(bin(band_high_hz), length / 2);
    for (std::size_t k = bin(band_low_hz); k < high; ++k) {
      const Complex c = x[k] * std::conj(s[k]);
      if (std::abs(c) > 1e-15) cross[k] = c / std::abs(c);
    }
    backward_.transform(cross.data(), correlation.data());
    const double bins = static_cast<double>(high - bin(band_low_hz));
    const auto at = [&](std::ptrdiff_t n) {
      return correlation[static_cast<std::size_t>(n + static_cast<std::ptrdiff_t>(length)) % length]
                 .real() /
             bins;
    };
    const auto farthest = static_cast<std::ptrdiff_t>(farthest_s * rate_);
    std::ptrdiff_t best = 0;
    for (std::ptrdiff_t n = -farthest; n <= farthest; ++n)
      if (std::abs(at(n)) > std::abs(at(best))) best = n;
    const double bend = at(best - 1) - 2.0 * at(best) + at(best + 1);
    const double beside = bend != 0.0 ? 0.5 * (at(best - 1) - at(best + 1)) / bend : 0.0;
    return {0.0, static_cast<double>(best) + std::clamp(beside, -0.5, 0.5), std::abs(at(best))};
  }

 private:
  static constexpr std::size_t length = 2 * piece_length;
  std::vector<Complex> spectrum(const std::vector<double>& samples) {
    std::vector<Complex> in(length), out(length);
    std::copy(samples.begin(), samples.end(), in.begin());
    forward_.transform(in.data(), out.data());
    return out;
  }
  double rate_;
  kissfft<double> forward_{length, false}, backward_{length, true};
};

struct Line {
  double at_start = 0.0, slope = 0.0;
};

/// The median of slopes between any two [P. K. Sen, J. Am. Statist. Assoc. 63 (1968), pp.
/// 1379-1389], and of what is left; then a line by least squares through those near it.
std::optional<Line> robust_line(const std::vector<Delay>& delays) {
  if (delays.empty()) return std::nullopt;
  std::vector<double> slopes{}, rests{};
  for (std::size_t a = 0; a < delays.size(); ++a)
    for (std::size_t b = a + 1; b < delays.size(); ++b)
      slopes.push_back((delays[b].delay - delays[a].delay) / (delays[b].time - delays[a].time));
  Line line;
  if (slopes.size() >= 3) line.slope = median(slopes);
  for (const Delay& d : delays) rests.push_back(d.delay - line.slope * d.time);
  line.at_start = median(rests);
  for (double& r : rests) r = std::abs(r - line.at_start);
  const double near = 3.0 * median(rests) + 0.05;
  double w = 0.0, t = 0.0, d = 0.0, tt = 0.0, td = 0.0;
  for (const Delay& each : delays) {
    if (std::abs(each.delay - line.slope * each.time - line.at_start) > near) continue;
    const double weight = each.likeness * each.likeness;
    w += weight;
    t += weight * each.time;
    d += weight * each.delay;
    tt += weight * each.time * each.time;
    td += weight * each.time * each.delay;
  }
  const double spread = tt - t * t / w;
  if (slopes.size() >= 3 && spread > 0.0) line.slope = (td - t * d / w) / spread;
  line.at_start = (d - line.slope * t) / w;
  return line;
}

double sum_of_products(const std::vector<double>& a, const std::vector<double>& b) {
  return std::inner_product(a.begin(), a.end(), b.begin(), 0.0);
}

/// Everything that is known of a chain.
struct Chain {
  std::vector<double> response;
  double residual = 1.0;  // of the samples that were fitted
  double misfit = 0.0;    // the same in full scales, RMS
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
        rate_(recording().rate.value()) {}

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
  Chain fit(const TrackPlace& place, const Chain* before, std::int64_t wanted,
            Hertz coupling = Hertz(0.0)) const {
    ResponseBasis basis;
    ResponseFit squares(basis.size());
    std::vector<double> values(basis.size()), recorded(AlignedPair::block),
        played(AlignedPair::block);
    CouplingInverse recorded_inverse(coupling, Hertz(rate_)),
        played_inverse(coupling, Hertz(rate_));
    AlignedPair pair(recording_, channel_, track_, place, ResponseBasis::ahead);
    RandomSteps steps(std::max<std::int64_t>(1, frames_ / wanted));
    std::int64_t position = 0, next = 0;
    while (pair.next()) {
      const std::size_t count = pair.recorded().size();
      recorded_inverse.restore(pair.recorded(), recorded);
      played_inverse.restore(pair.played(), played);
      basis.push(std::span<const double>(played).first(count));
      for (; next < position + static_cast<std::int64_t>(count); next += steps.next()) {
        if (!pair.inside() || next < first_known(place)) continue;
        const auto n = static_cast<std::size_t>(next - position);
        basis.at(n, values);
        if (takes_part(recorded[n], values, before, coupling)) squares.add(values, recorded[n]);
      }
      position += static_cast<std::int64_t>(count);
    }
    Chain chain{squares.solve(), 1.0, 0.0};
    if (chain.response.empty()) return chain;
    chain.residual = squares.residual(chain.response);
    chain.misfit = squares.misfit(chain.response);
    return chain;
  }

  /// Compares sample by sample. \param result gets gain, length and clipping
  void compare(const TrackPlace& place, const Chain& chain, const Corners& corners, Hertz coupling,
               PlayedMeasurement& result) const {
    ResponseBasis basis;
    std::vector<double> predicted(AlignedPair::block);
    AlignedPair pair(recording_, channel_, track_, place, ResponseBasis::ahead);
    PredictedPeaks peaks(Hertz(rate_), highest_, corners);
    CutPeakWindows highest(Hertz(rate_), coupling);
    LargestDeparture departure{Hertz(rate_)};
    double played = 0.0, passed = 0.0, common = 0.0;
    std::int64_t position = 0, compared = 0;
    while (pair.next()) {
      basis.push(pair.played());
      const auto y = pair.recorded();
      basis.predict(chain.response, predicted);
      const bool known = position >= first_known(place);
      position += static_cast<std::int64_t>(y.size());
      if (!pair.inside() || !known) continue;
      const auto v = std::span<const double>(predicted).first(y.size());
      peaks.add(y, v);
      highest.add(y, v);
      departure.add(y, v);
      compared += static_cast<std::int64_t>(y.size());
      for (std::size_t n = 0; n < y.size(); ++n) {
        const double s = basis.delayed(n);
        played += s * s;
        passed += v[n] * v[n];
        common += v[n] * s;
      }
    }
    result.clipping = peaks.read(highest.read());
    result.clipping.departure = departure.read();
    result.compared = Seconds(static_cast<double>(compared) / rate_);
    if (played > 0.0) result.gain = std::sqrt(passed / played);
    result.inverted = common < 0.0;
  }

 private:
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
    DelayMeter meter(rate_);
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
};

/// The side of the track with the least residual, its place and its chain.
struct Candidate {
  TrackPlace place;
  Chain chain;
};

std::optional<Candidate> try_side(const Comparison& comparison, TrackPlace place) {
  if (!comparison.refine(place, nullptr) || !comparison.refine(place, nullptr)) return std::nullopt;
  Candidate candidate{place, comparison.fit(place, nullptr, first_rows)};
  if (candidate.chain.response.empty()) return std::nullopt;
  return candidate;
}

Chain better_fit(const Comparison& comparison, const TrackPlace& place, const Chain& before,
                 Hertz coupling) {
  Chain chain = comparison.fit(place, &before, rows, coupling);
  return chain.response.empty() ? before : chain;
}

bool looks_cut(const AddedClipping& clipping) {
  return clipping.positive.flat || clipping.negative.flat || clipping.left < worth_a_round;
}

}  // namespace

std::optional<PlayedMeasurement> measure_played(const OpenStream& recording, std::size_t channel,
                                                std::int64_t frames, double highest,
                                                const OpenStream& track) {
  if (!(highest > 0.0)) return std::nullopt;
  const Comparison comparison(recording, channel, frames, highest, track);
  std::optional<Candidate> best;
  bool sides_alike = false;
  // Likely places first; one that is much less alike is not looked at, and of a side that is well
  // explained no second one.
  constexpr double worth_a_look = 0.6;
  constexpr double well_explained = 0.1;  // −20 dB
  std::vector<PlayedSide> explained;
  double likeliest = 0.0;
  for (const FoundTrack& found : find_track(recording, channel, frames, track)) {
    likeliest = std::max(likeliest, found.likeness);
    if (found.likeness < worth_a_look * likeliest) continue;
    if (std::count(explained.begin(), explained.end(), found.place.side) > 0) continue;
    auto candidate = try_side(comparison, found.place);
    if (!candidate) continue;
    if (candidate->chain.residual < well_explained) explained.push_back(found.place.side);
    if (!best) {
      best = std::move(candidate);
      continue;
    }
    const double ratio = candidate->chain.residual / best->chain.residual;
    sides_alike = ratio < alike && ratio > 1.0 / alike;
    const bool better = sides_alike ? candidate->place.side == PlayedSide::sum : ratio < 1.0;
    if (better) best = std::move(candidate);
  }
  if (!best) return std::nullopt;
  TrackPlace place = best->place;
  Chain chain = better_fit(comparison, place, best->chain, Hertz(0.0));
  if (comparison.refine(place, &chain)) chain = better_fit(comparison, place, chain, Hertz(0.0));
  PlayedMeasurement result;
  result.side = place.side;
  result.sides_alike = sides_alike;
  const double rate = recording().rate.value(), track_rate = track().rate.value();
  result.delay = Seconds(-place.start / place.step / rate);
  result.clock_ratio = place.step * rate / track_rate;
  comparison.compare(place, chain, coarse_corners(), middle_coupling, result);
  // Peaks that look cut show the coupling behind the rail; with that known, the chain is known
  // better, and so is the rail.
  for (int round = 0; round < most_rounds && looks_cut(result.clipping); ++round) {
    const Hertz coupling = result.clipping.coupling;
    chain = better_fit(comparison, place, chain, coupling);
    comparison.compare(place, chain, corners_around(coupling), coupling, result);
    const double moved = std::abs((result.clipping.coupling - coupling).value());
    if (moved < settled_hz) break;
  }
  return result;
}

}  // namespace railtap::measure
