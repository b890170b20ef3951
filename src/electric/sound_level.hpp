// SPDX-License-Identifier: MIT
// From volts at a speaker to the sound level in front of it.
#pragma once

#include "units/quantity.hpp"

namespace railtap::electric {

/// The voltage that a speaker's sensitivity is stated for: 1 W into 8 ohm, sqrt(8) V
/// [IEC 60268-5:2003, 20.3 and 20.4, characteristic sensitivity].
inline constexpr Volts sensitivity_voltage{2.83};

/// Sound level at 1 m on axis in free field: sensitivity + 20·log10(V/2.83 V). Volts that are
/// A-weighted give a level in dB(A). In a cabin it is a little higher, and the ear is closer or
/// further away.
/// \param volts RMS at the speaker, > 0 \param sensitivity dB at 2.83 V and 1 m
[[nodiscard]] Decibels sound_level(Volts volts, Decibels sensitivity);

}  // namespace railtap::electric
