// SPDX-License-Identifier: MIT
// Delays of pieces, and the line through them.
#include "measure/track_delays.hpp"

#include <algorithm>
#include <cmath>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

using Complex = std::complex<double>;

constexpr double farthest_s = 0.03;
constexpr double band_low_hz = 60.0, band_high_hz = 8000.0;

}  // namespace

std::vector<Complex> DelayMeter::spectrum(std::span<const double> samples) {
  std::vector<Complex> in(length), out(length);
  std::copy(samples.begin(), samples.end(), in.begin());
  forward_.transform(in.data(), out.data());
  return out;
}

Delay DelayMeter::measure(std::span<const double> recorded, std::span<const double> reference) {
  const auto x = spectrum(recorded), s = spectrum(reference);
  const auto bin = [&](double hz) { return static_cast<std::size_t>(hz / rate_.value() * length); };
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
  const auto farthest = static_cast<std::ptrdiff_t>(farthest_s * rate_.value());
  std::ptrdiff_t best = 0;
  for (std::ptrdiff_t n = -farthest; n <= farthest; ++n)
    if (std::abs(at(n)) > std::abs(at(best))) best = n;
  const double bend = at(best - 1) - 2.0 * at(best) + at(best + 1);
  const double beside = bend != 0.0 ? 0.5 * (at(best - 1) - at(best + 1)) / bend : 0.0;
  return {0.0, static_cast<double>(best) + std::clamp(beside, -0.5, 0.5), std::abs(at(best))};
}

std::optional<DelayLine> robust_line(std::span<const Delay> delays) {
  if (delays.empty()) return std::nullopt;
  std::vector<double> slopes{}, rests{};
  for (std::size_t a = 0; a < delays.size(); ++a)
    for (std::size_t b = a + 1; b < delays.size(); ++b)
      slopes.push_back((delays[b].delay - delays[a].delay) / (delays[b].time - delays[a].time));
  DelayLine line;
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

}  // namespace railtap::measure
