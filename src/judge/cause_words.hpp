// SPDX-License-Identifier: MIT
// The sentence and the remedy of each cause.
#pragma once

#include "judge/analysis.hpp"
#include "judge/cause.hpp"
#include "measure/disturbance.hpp"
#include "measure/moving_tone.hpp"
#include "measure/waveform_shape.hpp"
#include "units/quantity.hpp"

/// Each fills in `sentence` and `remedy` of a cause whose kind and figures are there already.
namespace railtap::judge::words {

/// \param filtered the rails with their filters; null where there is no filter to speak of
void clipping(Cause& cause, const Findings& f, const measure::ShapeFit* filtered);
/// The same of a rail that moves, behind `clipping`.
void moving_rail(Cause& cause);
void input_overload(Cause& cause, const Findings& f);
/// \param highest that the recorder passes
void narrow_recording(Cause& cause, Hertz highest);
/// \param few the harmonics are too few to tell; else they are of no known kind
void unknown_shape(Cause& cause, const Findings& f, bool few);
void crossover(Cause& cause, Percent half_width);
void slew(Cause& cause, Percent speed);
void bend(Cause& cause, const measure::ShapeFit& shape, Percent limit);

void coarse_codes(Cause& cause, const Findings& f, double code_step);
void too_soft(Cause& cause, const Findings& f);
void hiss(Cause& cause, const Findings& f);
/// Whether a foreign tone stays at its frequency.
enum class Pitch { steady, moves };
/// Hum, whine or another tone. \param pitch  `moves` only with a frequency
void line(Cause& cause, const Findings& f, Pitch pitch);
void fast_pumping(Cause& cause, const Findings& f);
/// \param followed how its pitch moves; null where that is not known, of a tone with a THD+N
void speed(Cause& cause, const Findings& f, const measure::FollowedTone* followed);
void pitch_goes(Cause& cause, const measure::FollowedTone& tone);

void interrupted(Cause& cause, const measure::FoundDisturbances& found, const Findings& f,
                 Hertz rate);
void moving(Cause& cause, const measure::MovingLevel& moving, Hertz rate);
/// Hum, or another tone, close beside the one that was followed.
void beating(Cause& cause, const measure::FollowedTone& tone, const measure::BesideTone& beside);

}  // namespace railtap::judge::words
