// SPDX-License-Identifier: MIT
// Whether the amplifier or the recording input flattens a waveform.
#include "judge/overload_source.hpp"

#include <algorithm>
#include <cmath>

#include "units/print.hpp"

namespace railtap::judge {
namespace {

constexpr double agreeing_share = 0.25;  // of the attenuation

// The rail that is hit harder; none where neither is flat.
std::optional<Dbfs> flat_level(const measure::ClippedSineFit& fit) {
  const bool positive =
      fit.positive.flat && (!fit.negative.flat || fit.positive.overdrive >= fit.negative.overdrive);
  const auto& rail = positive ? fit.positive : fit.negative;
  if (!rail.flat || !(fit.amplitude_fs > 0.0)) return std::nullopt;
  return dbfs_from_sine_peak(fit.amplitude_fs) - rail.overdrive;
}

OverloadSource source_of(const OverloadFinding& finding, const measure::ClippedSineFit& first,
                         const measure::ClippedSineFit& second, Decibels attenuation) {
  if (!finding.flat_first) return OverloadSource::none;
  const double allowed = agreeing_share * attenuation.value();
  if (!finding.flat_second) {
    // It vanished. An amplifier's clipping would not; but the tone must be the same one.
    const double change = 20.0 * std::log10(second.amplitude_fs / first.amplitude_fs);
    return std::abs(change + attenuation.value()) <= allowed ? OverloadSource::input
                                                             : OverloadSource::undecided;
  }
  const double moved = finding.moved->value();
  if (std::abs(moved + attenuation.value()) <= allowed) return OverloadSource::amplifier;
  if (std::abs(moved) <= allowed) return OverloadSource::input;
  return OverloadSource::undecided;
}

std::string sentence_of(const OverloadFinding& finding, Decibels attenuation) {
  const std::string more = format_quantity(attenuation) + " more attenuation";
  switch (finding.source) {
    case OverloadSource::none:
      return "The first recording is not flat-topped, so there is nothing to tell apart.";
    case OverloadSource::amplifier:
      return "The flat level moves by " + format_fixed(*finding.moved, 2) + " with " + more +
             ": the clipping is in what is recorded, not in the recording input.";
    case OverloadSource::input:
      if (!finding.flat_second) {
        return "With " + more + " the flat tops are gone: the recording input was overloaded.";
      }
      return "The flat level stays where it is with " + more +
             ": it is the recording input that clips; attenuate further.";
    case OverloadSource::undecided:
      break;
  }
  return "The flat level moves neither with the attenuation nor does it stay: repeat both "
         "recordings with the same volume, gain and load.";
}

}  // namespace

OverloadFinding judge_overload_source(const measure::ClippedSineFit& first,
                                      const measure::ClippedSineFit& second, Decibels attenuation) {
  OverloadFinding finding;
  finding.flat_first = flat_level(first);
  finding.flat_second = flat_level(second);
  if (finding.flat_first && finding.flat_second)
    finding.moved = *finding.flat_second - *finding.flat_first;
  finding.source = source_of(finding, first, second, attenuation);
  finding.sentence = sentence_of(finding, attenuation);
  return finding;
}

const char* name(OverloadSource source) {
  switch (source) {
    case OverloadSource::none:
      return "none";
    case OverloadSource::amplifier:
      return "amplifier";
    case OverloadSource::input:
      return "input";
    case OverloadSource::undecided:
      return "undecided";
  }
  return "undecided";
}

}  // namespace railtap::judge
