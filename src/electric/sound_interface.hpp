// SPDX-License-Identifier: MIT
// What a sound interface adds by itself, measured with its output looped back to its input.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::electric {

/// The response at one frequency: recorded over played.
struct InterfaceResponse {
  Hertz frequency{0.0};
  Decibels magnitude{0.0};
  double phase_deg = 0.0;  ///< with the delay taken out, ±180
};

/// Output and input together; of a part that could not be known there is none.
struct SoundInterface {
  std::string device;  ///< the input's name; empty: not known
  std::string date;    ///< ISO 8601
  Hertz rate{0.0};
  std::vector<InterfaceResponse> response;
  std::optional<Percent> thdn;           ///< of a steady tone
  std::optional<Dbfs> level;             ///< of that tone, as recorded
  std::optional<Dbfs> noise, noise_a;    ///< in silence: flat in the measuring band, A-weighted
  std::optional<Hertz> coupling_corner;  ///< of a high-pass of first order
};

/// By how much a high-pass of first order lowers a sine: 10·log10(1 + (corner/f)²), >= 0 (derived
/// from |H| = 1/√(1 + (corner/f)²)). \param corner >= 0 \param frequency > 0 \throws Error
/// otherwise
[[nodiscard]] Decibels coupling_loss(Hertz corner, Hertz frequency);

/// The THD+N that the interface alone would show on a tone of some level: its noise over the tone,
/// and its distortion at the level at which it was measured, added as energies. Distortion of a
/// softer tone is less, so this is the upper bound. None where THD+N was not measured.
[[nodiscard]] std::optional<Percent> own_thdn(const SoundInterface& interface, Dbfs level);

}  // namespace railtap::electric
