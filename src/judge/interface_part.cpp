// SPDX-License-Identifier: MIT
// The recording interface's own response taken out of a measured one.
#include "judge/interface_part.hpp"

namespace railtap::judge {

using measure::ResponsePoint;

std::optional<ResponsePoint> take_out(const electric::SoundInterface* interface,
                                      std::vector<ResponsePoint>& points) {
  if (interface == nullptr || interface->response.empty()) return std::nullopt;
  constexpr Hertz reference{1000.0};
  constexpr double turn = 360.0;
  const Response level = between(interface->response, reference);
  std::optional<ResponsePoint> largest;
  for (ResponsePoint& p : points) {
    const Response own = between(interface->response, p.frequency);
    const Decibels part = own.magnitude - level.magnitude;
    const double turned_deg = std::remainder(own.phase_deg - level.phase_deg, turn);
    p.magnitude -= part;
    p.phase_deg = std::remainder(p.phase_deg - turned_deg, turn);
    if (largest && std::abs(part.value()) <= std::abs(largest->magnitude.value())) continue;
    largest = ResponsePoint{p.frequency, part, turned_deg, Decibels(0.0)};
  }
  return largest;
}

}  // namespace railtap::judge
