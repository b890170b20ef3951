// SPDX-License-Identifier: MIT
// From how well the pulses fit either way up to a verdict.
#include "judge/polarity.hpp"

#include <cmath>

#include "judge/sentence.hpp"

namespace railtap::judge {
namespace {

constexpr double least_margin = 0.25;

}  // namespace

PolarityVerdict judge_polarity(const measure::PolarityFit& fit, bool filters_known) {
  PolarityVerdict verdict;
  verdict.margin = fit.margin;
  if (fit.orders_used == 0) {
    verdict.reason = "The polarity pulses do not stand out of the noise.";
  } else if (fit.orders_used == 1) {
    verdict.reason =
        "Only one frequency of the polarity pulses arrives; a filter or noise takes the others.";
  } else if (std::abs(fit.margin) < least_margin) {
    verdict.reason = sentence(
        "The pulses' tips reach %.0f %% of their height upwards and %.0f %% downwards: too alike",
        100.0 * fit.upright, 100.0 * fit.inverted);
    verdict.reason += filters_known
                          ? ", even with the phase of the filters that were recognised taken out."
                          : "; a filter turns their phases.";
  } else {
    verdict.polarity = fit.margin > 0.0 ? Polarity::in : Polarity::inverted;
    const bool up = fit.margin > 0.0;
    verdict.reason = std::string("The pulses' tips point ") + (up ? "upwards" : "downwards") +
                     sentence(": %.0f %% of their height that way, %.0f %% the other.",
                              100.0 * (up ? fit.upright : fit.inverted),
                              100.0 * (up ? fit.inverted : fit.upright));
  }
  return verdict;
}

const char* name(Polarity polarity) {
  switch (polarity) {
    case Polarity::in:
      return "in";
    case Polarity::inverted:
      return "inverted";
    case Polarity::cannot_tell:
      return "cannot-tell";
  }
  return "cannot-tell";
}

}  // namespace railtap::judge
