// SPDX-License-Identifier: MIT
// A sound interface's own figures, for a person.
#include <array>
#include <optional>

#include "report/loopback.hpp"
#include "units/print.hpp"

namespace railtap::report {
namespace {

template <class Q>
std::string known(const std::optional<Q>& quantity, int digits) {
  return quantity ? format_fixed(*quantity, digits) : "too low to be known";
}

std::string response_line(const electric::SoundInterface& interface) {
  constexpr std::array<double, 6> listed_hz{10.0, 20.0, 50.0, 100.0, 10000.0, 18000.0};
  if (interface.response.empty()) return "  Response: the sweep is not above the noise.\n";
  std::string text = "  Response re 1 kHz:";
  for (const double hz : listed_hz) {
    text += (hz == listed_hz.front() ? " " : ", ") +
            format_fixed(*electric::response_at(interface, Hertz(hz)), 2, Sign::always) + " at " +
            format_quantity(Hertz(hz), 3);
  }
  return text + ".\n";
}

std::string corner_line(const electric::SoundInterface& interface) {
  if (!interface.coupling_corner) return "  Coupling: no corner within the sweep's reach.\n";
  return "  Coupling: corner " + format_quantity(*interface.coupling_corner, 3) +
         " of output and input in series; takes " +
         format_fixed(electric::coupling_loss(*interface.coupling_corner, Hertz(50.0)), 3) +
         " at 50 Hz.\n"
         "  The input's own corner is that or lower: a loop cannot tell one from the other.\n";
}

}  // namespace

std::string loopback_report(const electric::SoundInterface& interface) {
  std::string text = "The sound interface by itself, output to input";
  if (!interface.device.empty()) text += ", '" + interface.device + "'";
  text += ", " + format_quantity(interface.rate, 6) + ":\n";
  if (interface.thdn && interface.level) {
    text += "  THD+N " + format_quantity(*interface.thdn, 3) + " of a tone at " +
            format_fixed(*interface.level, 2) + ".\n";
  }
  text += "  Noise " + known(interface.noise, 1) + ", A-weighted " + known(interface.noise_a, 1) +
          ".\n" + response_line(interface) + corner_line(interface);
  return text +
         "  No smaller distortion or noise is claimed where this file is given with --interface.\n";
}

}  // namespace railtap::report
