// SPDX-License-Identifier: MIT
// Copper cables: gauge, resistance, and the highest current they are rated for.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "units/quantity.hpp"

namespace railtap::electric {

/// Resistivity of annealed copper at 20 °C, in ohm·mm²/m [IEC 60028:1925: 1/58, 0.017241].
inline constexpr double copper_ohm_mm2_per_m = 1.0 / 58.0;

/// A cable's cross-section, and how it was named.
struct Gauge {
  SquareMillimetres area{0.0};  ///< of the copper, > 0
  std::optional<int> awg;       ///< −3 is 4/0, 0 is 1/0
};

/// Diameter in metres of a wire of this number: 0.127 mm · 92^((36 − n)/39) [ASTM B258].
/// \param awg −3 (4/0) … 40
[[nodiscard]] Metres awg_diameter(int awg);

/// "16mm2", "6AWG", "AWG 6", "1/0 AWG" up to "4/0 AWG".
/// \throws Error with `name` as its place for anything else, and outside 0.1 … 300 mm2
[[nodiscard]] Gauge parse_gauge(std::string_view text, std::string_view name);

/// "16 mm2", "6 AWG (13.3 mm2)".
[[nodiscard]] std::string describe(const Gauge& gauge);

/// ρ·l/A at 20 °C; it grows by 0.39 % per kelvin. \param path of the current, both ways, >= 0
[[nodiscard]] Ohms wire_resistance(const Gauge& gauge, Metres path);

/// What the resistance of a cable costs at the load: 20·log10(RL/(RL + R)), at most 0 dB (derived).
[[nodiscard]] Decibels wire_loss(Ohms cable, Ohms load);

/// The current that a single cable may carry all the time, insulation for 70 °C as common PVC,
/// outside of an engine's space [ISO 10133:2012, table A.1, from memory], between two sizes by the
/// power law through them; nothing below 0.75 mm2 or above 150 mm2.
[[nodiscard]] std::optional<Amperes> cable_ampacity(const Gauge& gauge);

}  // namespace railtap::electric
