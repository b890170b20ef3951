// SPDX-License-Identifier: MIT
// Which of the source's channels a recorded channel carries, and whether it is the right way round.
#include "judge/channel_identity.hpp"

#include <algorithm>
#include <cmath>

#include "judge/sentence.hpp"

namespace railtap::judge {
namespace {

using measure::PatternLine;
using measure::PatternReading;

constexpr Decibels one_side{12.0};
constexpr Decibels both_sides{6.0};
constexpr double full_scale_sine_mean_square = 0.5;

Dbfs level(double mean_square) {
  return Dbfs(10.0 * std::log10(mean_square / full_scale_sine_mean_square));
}

double clearness(const PatternLine& line) {
  return line.stands_out() ? line.mean_square / std::max(line.noise, 1e-30) : 0.0;
}

bool known(const PatternResponse& response, bool low) {
  return response[low ? 0U : 1U] && response[low ? 2U : 3U];
}

bool use_low(const PatternReading& reading, const PatternResponse& response) {
  const auto clearest = [&](bool low) {
    return std::max(clearness(reading.line(true, low)), clearness(reading.line(false, low)));
  };
  // Noise and hum are louder at low frequencies; only what passes a low-pass filter needs these.
  constexpr double good_enough = 100.0;
  // Of what a low-pass filter leaves of the upper lines the right amount is unknown.
  if (known(response, true) && !known(response, false) && clearest(true) >= good_enough)
    return true;
  return clearest(false) < good_enough && clearest(true) > clearest(false);
}

double corrected(const PatternLine& line, Decibels response) {
  return line.mean_square * std::pow(10.0, -response.value() / 10.0);
}

void judge_one_side(ChannelIdentity& identity, bool left, Decibels difference, bool at_least) {
  identity.carries = left ? Carries::left : Carries::right;
  identity.separation = difference;
  identity.separation_at_least = at_least;
  identity.reason =
      std::string(left ? "The left side's long burst is there; the right side's two are "
                       : "The right side's two bursts are there; the left side's long one is ") +
      (at_least ? "at least " : "") + sentence("%.0f dB weaker.", difference.value());
}

void judge_sides(ChannelIdentity& identity, Decibels left_over_right) {
  const Decibels apart(std::abs(left_over_right.value()));
  if (apart >= one_side) {
    judge_one_side(identity, left_over_right.value() > 0.0, apart, false);
  } else if (apart <= both_sides) {
    identity.carries = Carries::both;
    identity.reason = sentence("Left and right both arrive here, %.1f dB apart.", apart.value());
  } else {
    identity.reason = sentence(
        "One side is only %.1f dB weaker than the other: too little for one channel alone, too "
        "much for the sum of both.",
        apart.value());
  }
}

}  // namespace

ChannelIdentity judge_channel_identity(const PatternReading& reading,
                                       const PatternResponse& response) {
  ChannelIdentity identity;
  identity.low = use_low(reading, response);
  const PatternLine& left = reading.line(true, identity.low);
  const PatternLine& right = reading.line(false, identity.low);
  if (left.stands_out()) identity.left = level(left.mean_square);
  if (right.stands_out()) identity.right = level(right.mean_square);
  if (!identity.left && !identity.right) {
    identity.carries = Carries::silent;
    const double most = std::max(left.noise, right.noise);
    identity.reason = most > 0.0
                          ? sentence(
                                "Neither side's bursts are above the noise, which is "
                                "at %.0f dBFS at their frequencies.",
                                level(most).value())
                          : std::string("There is digital silence where the bursts should be.");
    return identity;
  }
  // One side's alone would set it off against the other's by the gain of the whole.
  const bool both_known = known(response, identity.low);
  const Decibels left_response = both_known ? *response[identity.low ? 0U : 1U] : Decibels(0.0);
  const Decibels right_response = both_known ? *response[identity.low ? 2U : 3U] : Decibels(0.0);
  // Where one side is hidden by noise, the noise bounds it.
  const double left_power = corrected(left, left_response);
  const double right_power = corrected(right, right_response);
  if (identity.left && identity.right) {
    judge_sides(identity, decibels_from_power_ratio(left_power / right_power));
    return identity;
  }
  const double there = identity.left ? left_power : right_power;
  const double hidden = std::max(identity.left ? right_power : left_power, 1e-30);
  const Decibels apart = decibels_from_power_ratio(there / hidden);
  if (apart >= one_side) {
    judge_one_side(identity, identity.left.has_value(), apart, true);
  } else {
    identity.reason = sentence(
        "One side's bursts are there, but noise could hide the other's: they are %.0f dB above it.",
        apart.value());
  }
  return identity;
}

const char* name(Carries carries) {
  switch (carries) {
    case Carries::left:
      return "left";
    case Carries::right:
      return "right";
    case Carries::both:
      return "both";
    case Carries::silent:
      return "silent";
    case Carries::cannot_tell:
      return "cannot-tell";
  }
  return "cannot-tell";
}

namespace {

constexpr double least_margin = 0.25;

}  // namespace

PolarityVerdict judge_polarity(const measure::PolarityFit& fit, bool filters_known) {
  PolarityVerdict verdict;
  verdict.margin = fit.margin;
  if (fit.orders_used == 0) {
    verdict.reason = "The polarity pulses are not above the noise.";
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
