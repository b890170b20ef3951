// SPDX-License-Identifier: MIT
// The highest peaks of a programme beside what a linear chain would have made of them.
#include "measure/cut_peaks.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace railtap::measure {
namespace {

using Window = CutPeakWindows::Window;
using Span = CutPeakWindows::Span;

constexpr std::size_t core = CutPeakWindows::core, kept = CutPeakWindows::kept;
constexpr std::size_t core_length = 2 * core + 1;
constexpr std::size_t most_windows = 128;  // on each side
constexpr double longest_reach_s = 0.032;  // the time constant of 5 Hz
constexpr double leak_hz = 0.2;            // as in CouplingInverse

// Between the samples: four places, a sinc of eight zero crossings to each side, Kaiser window
// with β = 6 (−60 dB).
constexpr std::size_t times = 4, crossings = 8;
constexpr double kaiser_beta = 6.0;
constexpr std::size_t fine_half = (kept - crossings) * times;
constexpr std::size_t fine_length = 2 * fine_half + 1;
constexpr std::size_t taps_half = crossings * times;
constexpr double passband = 0.95;  // of half the sampling rate, of the low-pass behind the rail

// A mean over n samples counts as this share of n: what is unexplained is not white.
constexpr double span_weight = 0.25;
// A span takes part where the prediction stays below this share of the rail.
constexpr double below_rail = 0.98;
// Levels are tried from the highest peak down, until what they would take away is far more than
// what is unexplained.
constexpr double too_much = 10.0;
constexpr std::array first_corners_hz = {0.0, 2.0, 4.0, 7.0, 10.0, 13.0, 17.0, 21.0, 25.0};
constexpr std::array finer_corners_hz = {-1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5};

enum class Place { between_samples, at_samples };

using Taps = std::array<double, 2 * taps_half + 1>;

Taps windowed_sinc(double cutoff) {
  Taps taps{};
  for (std::size_t k = 0; k < taps.size(); ++k) {
    const double distance = static_cast<double>(k) - static_cast<double>(taps_half);
    const double x = std::numbers::pi * cutoff * distance / static_cast<double>(times);
    const double share = distance / static_cast<double>(taps_half);
    taps[k] = (x == 0.0 ? 1.0 : std::sin(x) / x) * cutoff *
              std::cyl_bessel_i(0.0, kaiser_beta * std::sqrt(std::max(0.0, 1.0 - share * share))) /
              std::cyl_bessel_i(0.0, kaiser_beta);
  }
  return taps;
}

/// A window with one corner's coupling taken out.
struct Restored {
  std::array<double, core_length> predicted{}, error{};
  std::array<double, fine_length> fine{};  // predicted, between the samples
  std::array<double, 2 * CutPeakWindows::most_spans> span_error{};
  const Window* window = nullptr;
  double top_at = 0.0, top_between = 0.0;
  [[nodiscard]] double top(Place place) const {
    return place == Place::at_samples ? top_at : top_between;
  }
};

void interpolate(const Window& window, double omega, const Taps& taps, Restored& restored) {
  std::array<double, 2 * kept + 1> v{};
  for (std::size_t k = 0; k < v.size(); ++k)
    v[k] = window.predicted[k] + omega * window.predicted_integral[k];
  for (std::size_t m = 0; m < fine_length; ++m) {
    const std::size_t at = m + taps_half;  // in fine steps from the window's first sample
    double sum = 0.0;
    for (std::size_t k = (at - taps_half + times - 1) / times; k * times <= at + taps_half; ++k)
      sum += v[k] * taps[k * times + taps_half - at];
    restored.fine[m] = sum;
  }
  std::copy_n(v.begin() + (kept - core), core_length, restored.predicted.begin());
}

Restored restore(const Window& window, double omega, const Taps& taps) {
  Restored restored;
  restored.window = &window;
  interpolate(window, omega, taps, restored);
  for (std::size_t k = 0; k < core_length; ++k)
    restored.error[k] = window.error[k] + omega * window.error_integral[k];
  for (std::size_t s = 0; s < window.spans.size(); ++s)
    restored.span_error[s] = window.spans[s].error + omega * window.spans[s].error_integral;
  restored.top_at = *std::max_element(restored.predicted.begin(), restored.predicted.end());
  const auto margin = static_cast<std::ptrdiff_t>(fine_half - core * times);
  restored.top_between =
      *std::max_element(restored.fine.begin() + margin, restored.fine.end() - margin);
  return restored;
}

using Missing = std::array<double, core_length>;

// What a rail takes away, as the recording's samples show it.
Missing missing_between(const Restored& window, double level, const Taps& low_pass) {
  Missing missing{};
  for (std::size_t m = 0; m < fine_length; ++m) {
    const double over = window.fine[m] - level;
    if (over <= 0.0) continue;
    // Sample j of the core lies at fine place `first` + j·times.
    constexpr std::size_t first = fine_half - core * times;
    for (std::size_t j = 0; j < core_length; ++j) {
      const std::size_t place = first + j * times;
      if (place + taps_half < m) continue;
      if (place > m + taps_half) break;
      missing[j] += over * low_pass[place + taps_half - m] / static_cast<double>(times);
    }
  }
  return missing;
}

Missing missing_at(const Restored& window, double level) {
  Missing missing{};
  for (std::size_t j = 0; j < core_length; ++j)
    missing[j] = std::max(0.0, window.predicted[j] - level);
  return missing;
}

/// Sums over windows.
struct Squares {
  double unexplained = 0.0;  // without the rail
  double left = 0.0;         // with it
  double missing = 0.0, samples = 0.0;
};

// Squares about a mean that is free.
struct Scatter {
  double weight = 0.0, sum = 0.0, squares = 0.0;
  void add(double value, double w = 1.0) {
    weight += w;
    sum += w * value;
    squares += w * value * value;
  }
  [[nodiscard]] double value() const { return squares - sum * sum / weight; }
};

Squares compare(const Restored& window, const Missing& missing, double level) {
  Squares result;
  Scatter without, with;
  for (std::size_t j = 0; j < core_length; ++j) {
    without.add(window.error[j]);
    with.add(window.error[j] - missing[j]);
    result.missing += missing[j] * missing[j];
    if (missing[j] > 0.05 * (window.top_between - level)) result.samples += 1.0;
  }
  for (std::size_t s = 0; s < window.span_error.size(); ++s) {
    const Span& span = window.window->spans[s];
    if (span.count == 0.0 || span.highest >= below_rail * level) continue;
    without.add(window.span_error[s], span_weight * span.count);
    with.add(window.span_error[s], span_weight * span.count);
  }
  result.unexplained = without.value();
  result.left = with.value();
  return result;
}

/// A rail of one side, for one corner.
struct SideFit {
  double level = 0.0, highest = 0.0;
  double gain = 0.0;
  Squares cut;               // of the windows that the rail cuts
  std::size_t peaks = 0;     // these
  double usual = 0.0;        // squares that are unexplained in a window that is not cut
  std::vector<double> left;  // of every window
};

class SideSearch {
 public:
  SideSearch(const std::vector<Window>& windows, const Taps& between, const Taps& low_pass)
      : windows_(windows), between_(between), low_pass_(low_pass) {}

  void set_corner(double omega) {
    restored_.clear();
    for (const Window& window : windows_) restored_.push_back(restore(window, omega, between_));
  }

  /// The level with the most gain.
  [[nodiscard]] SideFit best(Place place) const {
    SideFit best;
    if (restored_.empty()) return best;
    for (const Restored& window : restored_)
      best.highest = std::max(best.highest, window.top(place));
    const double highest = best.highest;
    best.level = highest;
    double over_db = 0.1;
    while (over_db < 9.0 && try_level(place, highest, over_db, best))
      over_db += over_db < 3.0 ? 0.15 : 0.5;
    for (const double step_db : {0.05, 0.015}) {
      if (best.peaks == 0) break;
      const double middle = 20.0 * std::log10(highest / best.level);
      for (int k = -3; k <= 3; ++k) try_level(place, highest, middle + k * step_db, best);
    }
    best.left.clear();
    Scatter uncut;
    for (const Restored& window : restored_) {
      best.left.push_back(compare(window, missing(window, best.level, place), best.level).left);
      if (window.top(place) <= best.level) uncut.add(best.left.back());
    }
    if (uncut.weight > 0.0) best.usual = uncut.sum / uncut.weight;
    return best;
  }

 private:
  [[nodiscard]] Missing missing(const Restored& window, double level, Place place) const {
    if (window.top(place) <= level) return {};
    return place == Place::at_samples ? missing_at(window, level)
                                      : missing_between(window, level, low_pass_);
  }

  // Whether it is worth going further down.
  bool try_level(Place place, double highest, double db, SideFit& best) const {
    SideFit fit;
    fit.highest = highest;
    fit.level = highest * std::pow(10.0, -std::max(0.0, db) / 20.0);
    for (const Restored& window : restored_) {
      if (window.top(place) <= fit.level) continue;
      const Squares squares = compare(window, missing(window, fit.level, place), fit.level);
      fit.cut.unexplained += squares.unexplained;
      fit.cut.left += squares.left;
      fit.cut.missing += squares.missing;
      fit.cut.samples += squares.samples;
      ++fit.peaks;
    }
    fit.gain = fit.cut.unexplained - fit.cut.left;
    if (fit.gain > best.gain) best = fit;
    return fit.cut.missing < too_much * fit.cut.unexplained;
  }

  const std::vector<Window>& windows_;
  const Taps &between_, &low_pass_;
  std::vector<Restored> restored_;
};

/// Both rails for one corner.
struct Candidate {
  Hertz corner{0.0};
  Place place = Place::between_samples;
  std::array<SideFit, 2> sides;
};

using Counts = std::array<std::vector<bool>, 2>;

double left_of(const Candidate& candidate, const Counts* counted) {
  double left = 0.0;
  for (std::size_t side = 0; side < 2; ++side) {
    const auto& lefts = candidate.sides[side].left;
    for (std::size_t w = 0; w < lefts.size(); ++w)
      if (counted == nullptr || (*counted)[side][w]) left += lefts[w];
  }
  return left;
}

const Candidate& least_left(const std::vector<Candidate>& candidates, const Counts* counted) {
  return *std::min_element(candidates.begin(), candidates.end(), [&](const auto& a, const auto& b) {
    return left_of(a, counted) < left_of(b, counted);
  });
}

CutSide cut_side(const SideFit& fit) {
  CutSide side;
  side.highest = fit.highest;
  if (fit.peaks == 0 || fit.cut.samples == 0.0 || !(fit.cut.unexplained > 0.0)) return side;
  side.level = fit.level;
  side.gain = fit.gain;
  side.missing = fit.cut.missing;
  side.left = fit.cut.left / fit.cut.unexplained;
  side.depth = std::sqrt(fit.cut.missing / fit.cut.samples) / fit.level;
  side.peaks = fit.peaks;
  side.usual = fit.usual * static_cast<double>(fit.peaks) / fit.cut.unexplained;
  return side;
}

bool lower_first(const Window& a, const Window& b) {
  return a.size > b.size;
}

}  // namespace

CutPeakWindows::CutPeakWindows(Hertz rate, Hertz coupling)
    : rate_(rate),
      omega_(2.0 * std::numbers::pi * coupling.value() / rate.value()),
      keep_(1.0 - 2.0 * std::numbers::pi * leak_hz / rate.value()),
      spans_(1),
      reach_(0) {
  while (spans_ < most_spans &&
         static_cast<double>(core << spans_) < longest_reach_s * rate.value())
    ++spans_;
  reach_ = core << spans_;
  next_ = reach_;
  for (auto* samples :
       {&predicted_, &predicted_integrals_, &errors_, &error_integrals_, &restored_})
    samples->assign(reach_, 0.0);
}

void CutPeakWindows::add(std::span<const double> recorded, std::span<const double> predicted) {
  for (std::size_t n = 0; n < recorded.size(); ++n) {
    const double v = predicted[n], e = v - recorded[n];
    predicted_integral_ = keep_ * predicted_integral_ + v;
    error_integral_ = keep_ * error_integral_ + e;
    predicted_.push_back(v);
    errors_.push_back(e);
    // The trapezoidal rule.
    predicted_integrals_.push_back(predicted_integral_ - 0.5 * v);
    error_integrals_.push_back(error_integral_ - 0.5 * e);
    restored_.push_back(v + omega_ * predicted_integrals_.back());
  }
  for (; next_ + reach_ < predicted_.size(); ++next_) look(next_);
  const auto drop = static_cast<std::ptrdiff_t>(next_ - reach_);
  for (auto* samples :
       {&predicted_, &predicted_integrals_, &errors_, &error_integrals_, &restored_})
    samples->erase(samples->begin(), samples->begin() + drop);
  next_ = reach_;
}

void CutPeakWindows::look(std::size_t centre) {
  const double sign = restored_[centre] > 0.0 ? 1.0 : -1.0;
  const double size = sign * restored_[centre];
  auto& heap = windows_[sign > 0.0 ? 0 : 1];
  if (heap.size() == most_windows && size <= heap.front().size) return;
  if (size == 0.0 || sign * restored_[centre - 1] >= size) return;
  for (std::size_t k = centre - core; k <= centre + core; ++k)
    if (sign * restored_[k] > size) return;
  if (heap.size() == most_windows) {
    std::pop_heap(heap.begin(), heap.end(), lower_first);
    heap.pop_back();
  }
  heap.push_back(window_at(centre, sign));
  std::push_heap(heap.begin(), heap.end(), lower_first);
}

CutPeakWindows::Window CutPeakWindows::window_at(std::size_t centre, double sign) const {
  Window window;
  window.size = sign * restored_[centre];
  for (std::size_t k = 0; k < window.predicted.size(); ++k) {
    window.predicted[k] = sign * predicted_[centre - kept + k];
    window.predicted_integral[k] = sign * predicted_integrals_[centre - kept + k];
  }
  for (std::size_t k = 0; k < window.error.size(); ++k) {
    window.error[k] = sign * errors_[centre - core + k];
    window.error_integral[k] = sign * error_integrals_[centre - core + k];
  }
  for (std::size_t s = 0; s < spans_; ++s) {
    const std::size_t near = core << s;
    window.spans[2 * s] = span_of(centre - 2 * near, near, sign);
    window.spans[2 * s + 1] = span_of(centre + near + 1, near, sign);
  }
  return window;
}

CutPeakWindows::Span CutPeakWindows::span_of(std::size_t first, std::size_t count,
                                             double sign) const {
  Span span;
  span.count = static_cast<double>(count);
  for (std::size_t n = first; n < first + count; ++n) {
    span.error += sign * errors_[n] / span.count;
    span.error_integral += sign * error_integrals_[n] / span.count;
    span.highest = std::max(span.highest, sign * restored_[n]);
  }
  return span;
}

CutPeaks CutPeakWindows::read() const {
  const Taps between = windowed_sinc(1.0), low_pass = windowed_sinc(passband);
  std::array<SideSearch, 2> searches = {SideSearch(windows_[0], between, low_pass),
                                        SideSearch(windows_[1], between, low_pass)};
  const auto try_corner = [&](Hertz corner, std::vector<Candidate>& candidates) {
    for (SideSearch& search : searches)
      search.set_corner(2.0 * std::numbers::pi * corner.value() / rate_.value());
    for (const Place place : {Place::between_samples, Place::at_samples})
      candidates.push_back({corner, place, {searches[0].best(place), searches[1].best(place)}});
  };
  std::vector<Candidate> candidates;
  for (const double hz : first_corners_hz) try_corner(Hertz(hz), candidates);
  const Candidate first = least_left(candidates, nullptr);
  // From here on, only peaks that are cut: the rest would have its say by its noise, which grows
  // with the corner.
  Counts cut;
  for (std::size_t side = 0; side < 2; ++side)
    for (const Window& window : windows_[side])
      cut[side].push_back(first.sides[side].peaks > 0 &&
                          window.size > below_rail * first.sides[side].level);
  const Hertz middle = least_left(candidates, &cut).corner;
  for (const double hz : finer_corners_hz)
    try_corner(Hertz(std::max(0.0, middle.value() + hz)), candidates);
  const Candidate& best = least_left(candidates, &cut);
  return {cut_side(best.sides[0]), cut_side(best.sides[1]), best.corner};
}

}  // namespace railtap::measure
