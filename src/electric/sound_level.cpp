// SPDX-License-Identifier: MIT
// Sound level from a speaker's sensitivity.
#include "electric/sound_level.hpp"

namespace railtap::electric {

Decibels sound_level(Volts volts, Decibels sensitivity) {
  return sensitivity + decibels_from_amplitude_ratio(volts / sensitivity_voltage);
}

}  // namespace railtap::electric
