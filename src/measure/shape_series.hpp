// SPDX-License-Identifier: MIT
// The harmonics of a sine behind the faults that change its shape: rails, a dead zone, a knee, a
// slew limit.
#pragma once

#include <array>
#include <complex>
#include <cstddef>

namespace railtap::measure::shape {

/// The highest order that takes part: with more, the choice between the faults gains nothing.
inline constexpr std::size_t most_orders = 40;

/// Harmonics of a periodic waveform, order k at k, as cosines about the crest of the unit cosine
/// that went in; peak amplitudes.
using Orders = std::array<std::complex<double>, most_orders + 1>;

/// A cosine cut at cos(positive) and −cos(negative); angles in radians, 0 … π/2, 0 is not cut.
[[nodiscard]] Orders clipped(double positive, double negative, std::size_t orders);

/// A cosine whose middle part, within ±width, has lost the share `loss` of its gain: crossover
/// distortion. \param width of the peak, 0 … 1 \param loss 0 … 1
[[nodiscard]] Orders dead_zone(double width, double loss, std::size_t orders);

/// A cosine behind a law whose gain falls as 1/(1 + (x/middle)^(1/width)) on the rails that are
/// wanted; see clip::KneeLaw. \param middle > 0, re the peak \param width 0.001 … 0.5
[[nodiscard]] Orders knee(double middle, double width, bool positive, bool negative,
                          std::size_t orders);

/// A cosine behind a stage whose output moves as y' = S·tanh((x − y)·B/S): it follows what it is
/// far from with the bandwidth B, and no faster than S. That is an amplifier with one dominant pole
/// behind an input stage that can deliver a limited current (from memory: J. E. Solomon, IEEE J.
/// Solid-State Circuits 9 (1974) 314).
/// From a table that is made once, interpolated.
/// \param limit     S over the cosine's own steepest slope; taken within 0.1 … 1.2
/// \param bandwidth which of the table's bandwidths, 0 … slew_bandwidths − 1, the last of them
/// endless
[[nodiscard]] Orders slew_limited(double limit, std::size_t bandwidth, std::size_t orders);
inline constexpr std::size_t slew_bandwidths = 5;

}  // namespace railtap::measure::shape
