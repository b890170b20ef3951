// SPDX-License-Identifier: MIT
// The corner of an AC-coupled chain, from its response at low frequencies.
#include "measure/swept_response.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace railtap::measure {
namespace {

constexpr Hertz middle_low{500.0}, middle_high{2000.0};
constexpr Hertz highest{200.0};
constexpr double most_loss_db = 1.0;
// The sweep is right within 0.02 dB; more than this is there.
constexpr double least_loss_db = 0.03;
// What one corner leaves unexplained; more is a filter, not a capacitor.
constexpr double worst_misfit_db = 0.1;
constexpr std::size_t fewest_points = 6;

struct Loss {
  double frequency_hz;
  double loss_db;
};

double loss_db(double corner_hz, double frequency_hz) {
  const double ratio = corner_hz / frequency_hz;
  return 10.0 * std::log10(1.0 + ratio * ratio);
}

std::optional<double> middle_db(std::span<const ResponsePoint> response) {
  double sum = 0.0;
  int count = 0;
  for (const ResponsePoint& point : response) {
    if (point.frequency < middle_low || point.frequency > middle_high) continue;
    sum += point.magnitude.value();
    ++count;
  }
  return count > 0 ? std::optional(sum / count) : std::nullopt;
}

std::vector<Loss> losses(std::span<const ResponsePoint> response, Hertz low) {
  const auto middle = middle_db(response);
  std::vector<Loss> list;
  if (!middle) return list;
  const double lowest_hz = low.value() * std::cbrt(2.0);
  for (const ResponsePoint& point : response) {
    const double loss = *middle - point.magnitude.value();
    const double hz = point.frequency.value();
    if (hz >= lowest_hz && hz <= highest.value() && loss <= most_loss_db)
      list.push_back({hz, loss});
  }
  return list;
}

double misfit_db(const std::vector<Loss>& list, double corner_hz) {
  double sum = 0.0;
  for (const Loss& at : list) {
    const double error = loss_db(corner_hz, at.frequency_hz) - at.loss_db;
    sum += error * error;
  }
  return std::sqrt(sum / static_cast<double>(list.size()));
}

// Golden section [Press et al., Numerical Recipes, 3rd ed., 10.2] over the corner's logarithm.
double best_corner_hz(const std::vector<Loss>& list) {
  constexpr double golden = 0.6180339887498949;
  constexpr int rounds = 60;
  double from = std::log(0.05), to = std::log(highest.value());
  for (int i = 0; i < rounds; ++i) {
    const double left = to - golden * (to - from), right = from + golden * (to - from);
    if (misfit_db(list, std::exp(left)) < misfit_db(list, std::exp(right))) {
      to = right;
    } else {
      from = left;
    }
  }
  return std::exp(0.5 * (from + to));
}

}  // namespace

std::optional<Hertz> coupling_corner(std::span<const ResponsePoint> response, Hertz low) {
  const auto list = losses(response, low);
  if (list.size() < fewest_points) return std::nullopt;
  const double corner_hz = best_corner_hz(list);
  const double lowest_hz =
      std::min_element(list.begin(), list.end(), [](const Loss& a, const Loss& b) {
        return a.frequency_hz < b.frequency_hz;
      })->frequency_hz;
  if (loss_db(corner_hz, lowest_hz) < least_loss_db) return std::nullopt;
  if (misfit_db(list, corner_hz) > worst_misfit_db) return std::nullopt;
  return Hertz(corner_hz);
}

}  // namespace railtap::measure
