// SPDX-License-Identifier: MIT
// The law by which a stage turns input into output, read off one measured tone, and what it does to
// softer ones.
#pragma once

#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "measure/tone_fit.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

/// y = f(x) for −1 <= x <= 1, x being the input over the peak that it had in the measured tone; y
/// in full scales, before the coupling.
///
/// For a law without memory f(cos θ) = Σ a_k·cos kθ, so the harmonics of one loud tone are the
/// Chebyshev coefficients of the law: a_k is the amplitude of harmonic k [T_k(cos θ) = cos kθ].
struct StaticLaw {
  std::vector<double> chebyshev;  ///< a_k at index k; a_0 is unknown behind a coupling and left 0
  struct Rails {
    double slope, positive, negative;  ///< y = slope·x between −negative and +positive
  };
  std::optional<Rails> rails;  ///< a hard corner at each rail; it is used instead of the series
  Hertz fundamental{0.0};
  Hertz coupling{0.0};  ///< corner of the coupling that was taken out
  double misfit = 0.0;  ///< amplitude of what has the phase of a memory, over that of all harmonics
};

/// What a law makes of a sine, mean squares in full scales².
struct LawOutput {
  double fundamental = 0.0;
  double harmonics = 0.0;
  [[nodiscard]] double total() const { return fundamental + harmonics; }
};

/// Harmonic `order` as it was before a coupling with this corner, about the crest of the
/// fundamental: real for a law without memory.
[[nodiscard]] std::complex<double> before_coupling(const HarmonicSeries& tone, std::size_t order,
                                                   Hertz corner);

/// Reads the law off a tone's harmonics up to order `orders`. The corner of the coupling, 0–40 Hz,
/// is that which leaves the least that no law without memory explains.
[[nodiscard]] StaticLaw law_of(const HarmonicSeries& tone, std::size_t orders);

/// What a law makes of the crests of a tone, full scales, from its output at input 0.
struct Crests {
  double positive = 0.0;  ///< f(1) − f(0)
  double negative = 0.0;  ///< f(0) − f(−1)
  double sigma = 0.0;     ///< standard uncertainty of either: noise, and the orders beyond `orders`
};

/// The crests of a tone's output, the coupling undone. They depend on no model: f(±1) = Σ ±a_k and
/// f(0) = Σ a_k·cos(kπ/2) [T_k at 1, −1 and 0], over the orders that exceed their noise.
/// \param coupling its corner: of a tone with few harmonics it is to be known from a louder one
[[nodiscard]] Crests crests_of(const HarmonicSeries& tone, std::size_t orders, Hertz coupling);

/// The output for a sine of `ratio` (0 … 1) times the measured tone's input, orders 1 … `orders`,
/// behind the coupling.
[[nodiscard]] LawOutput output_of(const StaticLaw& law, double ratio, std::size_t orders);

}  // namespace railtap::measure
