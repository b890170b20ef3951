// SPDX-License-Identifier: MIT
// Pieces of a recording, correlated with a track.
#include "measure/track_search.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <kissfft/kissfft.hh>

namespace railtap::measure {
namespace {

using Complex = std::complex<double>;

constexpr double low_rate_hz = 6000.0;
constexpr std::size_t piece = 32768;       // 5.5 s
constexpr std::size_t length = 2 * piece;  // of a transform
constexpr std::size_t most_pieces = 5;
constexpr std::size_t kept_places = 12;   // for each piece: music repeats itself
constexpr std::size_t hypotheses = 3;     // for each side
constexpr double apart_s = 0.02;          // two places that are nearer are one
constexpr double clocks_differ = 500e-6;  // at most; quartz keeps within 100 ppm (common practice)

// What is looked at, and what comes of it.
struct BandLimits {
  double low_hz, high_hz;
  double agreement_s;     // of the places of two pieces
  double least_likeness;  // twice what peaks of noise stay below: 5/√(number of bins) (derived)
};
constexpr BandLimits whole_band{60.0, 2400.0, 2e-3, 0.06};
constexpr BandLimits bass_band{20.0, 200.0, 3e-3, 0.15};

struct Place {
  double seconds = 0.0;   // in the track
  double likeness = 0.0;  // signed
};

struct Piece {
  double start_s = 0.0;  // in the recording
  std::vector<Complex> spectrum;
  std::vector<Place> places;
};

void keep(std::vector<Place>& places, const Place& place) {
  for (Place& other : places) {
    if (std::abs(other.seconds - place.seconds) > apart_s) continue;
    if (std::abs(place.likeness) > std::abs(other.likeness)) other = place;
    return;
  }
  places.push_back(place);
  const auto stronger = [](const Place& a, const Place& b) {
    return std::abs(a.likeness) > std::abs(b.likeness);
  };
  std::sort(places.begin(), places.end(), stronger);
  if (places.size() > kept_places) places.pop_back();
}

class Correlator {
 public:
  explicit Correlator(const BandLimits& band) : band_(band) {}
  std::vector<Complex> spectrum_of(std::span<const double> samples) {
    std::vector<Complex> spectrum(length);
    in_.assign(length, Complex{});
    std::copy(samples.begin(), samples.end(), in_.begin());
    forward_.transform(in_.data(), spectrum.data());
    return spectrum;
  }

  // Correlation at lags 0 … piece − 1, each the mean cosine over the band.
  void correlate(const std::vector<Complex>& track, Piece& piece_of_recording, double block_s) {
    const auto low = static_cast<std::size_t>(band_.low_hz / low_rate_hz * length);
    const auto high = static_cast<std::size_t>(band_.high_hz / low_rate_hz * length);
    in_.assign(length, Complex{});
    double used = 0.0;
    for (std::size_t k = low; k < high; ++k) {
      const Complex cross = track[k] * std::conj(piece_of_recording.spectrum[k]);
      const double size = std::abs(cross);
      if (!(size > 1e-12)) continue;
      in_[k] = cross / size;
      used += 1.0;
    }
    if (used == 0.0) return;
    backward_.transform(in_.data(), out_.data());
    take_peaks(piece_of_recording, block_s, static_cast<double>(high - low));
  }

 private:
  void take_peaks(Piece& piece_of_recording, double block_s, double bins) {
    const double weakest = piece_of_recording.places.size() < kept_places
                               ? 0.0
                               : std::abs(piece_of_recording.places.back().likeness);
    const auto at = [&](std::size_t n) { return out_[n].real() / bins; };
    for (std::size_t n = 1; n + 1 < piece; ++n) {
      const double here = at(n), size = std::abs(here);
      if (size < std::max(weakest, 0.5 * band_.least_likeness)) continue;
      if (size < std::abs(at(n - 1)) || size < std::abs(at(n + 1))) continue;
      const double bend = at(n - 1) - 2.0 * here + at(n + 1);
      const double beside = bend != 0.0 ? 0.5 * (at(n - 1) - at(n + 1)) / bend : 0.0;
      keep(
          piece_of_recording.places,
          {block_s + (static_cast<double>(n) + std::clamp(beside, -0.5, 0.5)) / low_rate_hz, here});
    }
  }

  BandLimits band_;
  kissfft<double> forward_{length, false}, backward_{length, true};
  std::vector<Complex> in_, out_ = std::vector<Complex>(length);
};

std::vector<Piece> pieces_of(const OpenStream& recording, std::size_t channel, std::int64_t frames,
                             Correlator& correlator) {
  const double step = recording().rate.value() / low_rate_hz;
  const double low_frames = static_cast<double>(frames) / step;
  const double halves = std::floor(2.0 * low_frames / piece);
  const auto count =
      static_cast<std::size_t>(std::clamp(halves, 1.0, static_cast<double>(most_pieces)));
  const double last = std::max(0.0, low_frames - piece);
  std::vector<Piece> pieces;
  std::vector<double> samples(piece);
  for (std::size_t k = 0; k < count; ++k) {
    const double start =
        count > 1 ? std::floor(static_cast<double>(k) * last / static_cast<double>(count - 1))
                  : 0.0;
    ScaledReader reader(ChannelReader(recording(), channel), start * step, step);
    reader.read(samples);
    pieces.push_back({start / low_rate_hz, correlator.spectrum_of(samples), {}});
  }
  return pieces;
}

void search(std::vector<Piece>& pieces, const OpenStream& track, PlayedSide side,
            Correlator& correlator) {
  FrameStream stream = track();
  const double step = stream.rate.value() / low_rate_hz;
  // From one piece before the track: the recording may start earlier.
  ScaledReader reader(ChannelReader(std::move(stream), side), -step * piece, step);
  std::vector<double> samples(length, 0.0);
  reader.read(std::span(samples).subspan(piece));
  for (double block_s = -2.0 * piece / low_rate_hz;; block_s += piece / low_rate_hz) {
    const auto spectrum = correlator.spectrum_of(samples);
    for (Piece& p : pieces) correlator.correlate(spectrum, p, block_s);
    if (!reader.inside() && block_s >= 0.0) return;
    std::copy(samples.begin() + piece, samples.end(), samples.begin());
    reader.read(std::span(samples).subspan(piece));
  }
}

struct Match {
  double start_s = 0.0;  // in the recording
  Place place;
};

// The best place of each piece that agrees with this one.
std::vector<Match> agreeing(const std::vector<Piece>& pieces, double start_s, const Place& with,
                            double agreement_s) {
  std::vector<Match> matches;
  for (const Piece& p : pieces) {
    Match best;
    for (const Place& place : p.places) {
      const double expected = with.seconds + (p.start_s - start_s);
      const double slack = agreement_s + clocks_differ * std::abs(p.start_s - start_s);
      if (std::abs(place.seconds - expected) > slack || place.likeness * with.likeness < 0.0)
        continue;
      if (std::abs(place.likeness) > std::abs(best.place.likeness)) best = {p.start_s, place};
    }
    if (best.place.likeness != 0.0) matches.push_back(best);
  }
  return matches;
}

double total_likeness(const std::vector<Match>& matches) {
  double sum = 0.0;
  for (const Match& m : matches) sum += std::abs(m.place.likeness);
  return sum;
}

// A line through the places: track seconds against recording seconds.
TrackPlace line_through(const std::vector<Match>& matches, double track_rate, double rate,
                        PlayedSide side) {
  double w = 0.0, x = 0.0, d = 0.0;
  for (const Match& m : matches) {
    const double weight = m.place.likeness * m.place.likeness;
    w += weight;
    x += weight * m.start_s;
    d += weight * (m.place.seconds - m.start_s);
  }
  x /= w;
  d /= w;
  double xx = 0.0, xd = 0.0;
  for (const Match& m : matches) {
    const double weight = m.place.likeness * m.place.likeness;
    xx += weight * (m.start_s - x) * (m.start_s - x);
    xd += weight * (m.start_s - x) * (m.place.seconds - m.start_s - d);
  }
  // What rounding makes of the distance of one piece from itself is no slope.
  const double slope = matches.size() > 1 ? xd / xx : 0.0;
  const double drift = std::abs(slope) <= clocks_differ ? slope : 0.0;
  return {side, (d - drift * x) * track_rate, (1.0 + drift) * track_rate / rate};
}

double strongest_of(const std::vector<Match>& matches) {
  double strongest = 0.0;
  for (const Match& m : matches) strongest = std::max(strongest, std::abs(m.place.likeness));
  return strongest;
}

double delay_of(const std::vector<Match>& matches) {
  return matches.front().place.seconds - matches.front().start_s;
}

// The likeliest places of the whole, at most `hypotheses`, apart from each other.
std::vector<std::vector<Match>> likeliest(const std::vector<Piece>& pieces,
                                          const BandLimits& band) {
  std::vector<std::vector<Match>> all;
  for (const Piece& p : pieces) {
    for (const Place& place : p.places) {
      auto matches = agreeing(pieces, p.start_s, place, band.agreement_s);
      if (strongest_of(matches) >= band.least_likeness) all.push_back(std::move(matches));
    }
  }
  std::sort(all.begin(), all.end(),
            [](const auto& a, const auto& b) { return total_likeness(a) > total_likeness(b); });
  std::vector<std::vector<Match>> kept;
  for (auto& matches : all) {
    const auto same = [&](const auto& other) {
      return std::abs(delay_of(other) - delay_of(matches)) < apart_s;
    };
    if (kept.size() < hypotheses && std::none_of(kept.begin(), kept.end(), same))
      kept.push_back(std::move(matches));
  }
  return kept;
}

}  // namespace

std::vector<FoundTrack> find_track(const OpenStream& recording, std::size_t channel,
                                   std::int64_t frames, const OpenStream& track,
                                   SearchedBand searched) {
  const BandLimits& band = searched == SearchedBand::bass ? bass_band : whole_band;
  Correlator correlator(band);
  const FrameStream played = track();
  const double rate = recording().rate.value(), track_rate = played.rate.value();
  auto pieces = pieces_of(recording, channel, frames, correlator);
  std::vector<FoundTrack> found;
  auto sides = {PlayedSide::sum, PlayedSide::left, PlayedSide::right};
  for (const PlayedSide side : sides) {
    if (played.channels < 2 && side != PlayedSide::sum) continue;
    for (Piece& p : pieces) p.places.clear();
    search(pieces, track, side, correlator);
    for (const std::vector<Match>& matches : likeliest(pieces, band)) {
      found.push_back({line_through(matches, track_rate, rate, side),
                       total_likeness(matches) / static_cast<double>(pieces.size())});
    }
  }
  std::stable_sort(found.begin(), found.end(), [](const FoundTrack& a, const FoundTrack& b) {
    return a.likeness > b.likeness;
  });
  return found;
}

}  // namespace railtap::measure
