// SPDX-License-Identifier: MIT
// The AC voltage an amplifier channel should deliver, and a channel's description on one line.
#include "electric/target.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "electric/hard_clip.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::electric {
namespace {

// No car has more; what lies outside is a typing mistake, such as 4kohm for 4 ohm.
constexpr Watts least_power{0.001}, most_power{100000.0};
constexpr Ohms least_load{0.1}, most_load{1000.0};

Volts volts_for(Watts power, Ohms load) {
  return Volts(std::sqrt(power.value() * load.value()));
}

Decibels change_to(Volts target, Volts reading) {
  return decibels_from_amplitude_ratio(target / reading);
}

Direction direction_of(Decibels change, Decibels tolerance) {
  if (change > tolerance) return Direction::raise;
  if (change < -tolerance) return Direction::lower;
  return Direction::hold;
}

void add_band(Assessment& assessment, const Target& target, const Channel& channel,
              const Conditions& conditions) {
  const auto band = reading_band(*conditions.meter, assessment.reading, channel.typed_digit);
  assessment.band = band;
  assessment.power_limits = power_band(band, channel.load);
  assessment.change_low = change_to(target.volts, band.high);
  // A band that reaches down to zero volts leaves the change open upwards.
  if (band.low > Volts(0.0)) assessment.change_high = change_to(target.volts, band.low);
  assessment.meter_decides =
      assessment.change_high &&
      direction_of(*assessment.change_low, conditions.tolerance) == assessment.direction &&
      direction_of(*assessment.change_high, conditions.tolerance) == assessment.direction;
}

}  // namespace

const char* name(Direction direction) {
  switch (direction) {
    case Direction::raise:
      return "raise";
    case Direction::lower:
      return "lower";
    case Direction::hold:
      return "hold";
  }
  return "hold";
}

Target target_for(const Channel& channel) {
  const Watts amplifier = require_within(channel.amplifier_power, least_power, most_power, "power");
  const Ohms load = require_within(channel.load, least_load, most_load, "load");
  if (channel.speaker_power) {
    require_within(*channel.speaker_power, least_power, most_power, "speaker power");
  }
  const bool speaker_is_lower = channel.speaker_power && *channel.speaker_power < amplifier;
  const Watts power = speaker_is_lower ? *channel.speaker_power : amplifier;
  const Volts volts = volts_for(power, load);
  return {power, speaker_is_lower ? Limit::speaker : Limit::amplifier, volts,
          volts * std::numbers::sqrt2, Amperes(std::sqrt(power.value() / load.value()))};
}

Assessment assess(const Target& target, const Channel& channel, const Conditions& conditions) {
  const Volts reading = require_positive(channel.reading.value_or(Volts(0.0)), "reading");
  require_not_negative(conditions.tolerance, "tolerance");
  Assessment assessment{};
  assessment.reading = reading;
  assessment.power = Watts(reading.value() * reading.value() / channel.load.value());
  assessment.change = change_to(target.volts, reading);
  assessment.distance = Decibels(std::abs(assessment.change.value()));
  assessment.direction = direction_of(assessment.change, conditions.tolerance);
  assessment.meter_decides = true;
  if (conditions.meter) add_band(assessment, target, channel, conditions);
  return assessment;
}

Deviation deviation(Volts target, Volts reached, std::optional<Percent> uncertainty) {
  constexpr double most = 0.9;  // beyond, the lower end would have no level in decibels
  const auto change_at = [&](double share) {
    return decibels_from_amplitude_ratio(reached * share / target);
  };
  Deviation found{change_at(1.0), {}, {}};
  if (!uncertainty) return found;
  const double share = std::clamp(uncertainty->value() / 100.0, 0.0, most);
  found.low = change_at(1.0 - share);
  found.high = change_at(1.0 + share);
  return found;
}

Overlap overlap_for(const Target& target, const Channel& channel, Dbfs tone_level) {
  require_within(tone_level, lowest_tone_level, Dbfs(0.0), "tone level");
  const Decibels overlap = Dbfs(0.0) - tone_level;
  // A speaker rated below the amplifier leaves the amplifier room above the target.
  const Decibels room = decibels_from_power_ratio(channel.amplifier_power / target.power);
  const Decibels overdrive = std::max(Decibels(0.0), overlap - room);
  const HardClip clip = hard_clip(overdrive);
  const bool clips = overdrive > Decibels(0.0);
  const Watts full_scale = clips ? channel.amplifier_power * clip.power_gain
                                 : target.power * std::pow(10.0, overlap.value() / 10.0);
  return {tone_level,
          overlap,
          overdrive,
          clip.thd,
          full_scale,
          target.volts / amplitude_ratio(overlap),
          target.power / std::pow(10.0, overlap.value() / 10.0)};
}

SupplyEffect supply_effect(const Target& target, const Channel& channel, Volts supply) {
  const double ratio = require_positive(supply, "supply") / rated_supply;
  const Volts reachable = volts_for(channel.amplifier_power, channel.load) * ratio;
  return {supply, decibels_from_amplitude_ratio(ratio), reachable, reachable >= target.volts};
}

ChannelTarget resolve(const Channel& channel, const Conditions& conditions) {
  ChannelTarget result{channel, target_for(channel), {}, {}, {}, {}};
  result.each_half_load = channel.bridged ? channel.load / 2.0 : channel.load;
  if (conditions.meter && conditions.tone_frequency) {
    require_in_band(*conditions.meter, *conditions.tone_frequency, "tone frequency");
  }
  if (channel.reading) result.assessment = assess(result.target, channel, conditions);
  if (conditions.tone_level) {
    result.overlap = overlap_for(result.target, channel, *conditions.tone_level);
  }
  if (conditions.supply) {
    result.supply = supply_effect(result.target, channel, *conditions.supply);
  }
  return result;
}

bool misses(const ChannelTarget& result) {
  return result.assessment && result.assessment->direction != Direction::hold;
}

namespace {

[[noreturn]] void fail(const std::string& problem, std::string_view place) {
  throw Error(problem, std::string(place), "write it like front:55W:4ohm:60W:14.1V");
}

std::vector<std::string> split(std::string_view text) {
  std::vector<std::string> parts;
  while (true) {
    const auto colon = text.find(':');
    parts.emplace_back(text.substr(0, colon));
    if (colon == std::string_view::npos) return parts;
    text.remove_prefix(colon + 1);
  }
}

/// The unit's first letter decides; a number alone is refused, since it could be any of them.
char kind_of(const std::string& part) {
  if (part == "bridged") return 'b';
  const auto last = part.find_last_not_of(" sS");
  if (last == std::string::npos) return '?';
  const char end = part[last];
  if (end == 'W' || end == 'w') return 'W';
  if (end == 'V' || end == 'v') return 'V';
  return end >= '0' && end <= '9' ? '?' : 'R';
}

void read_power(Channel& channel, bool& has_power, const std::string& part,
                std::string_view place) {
  const Watts power = require_positive(parse_quantity<Watts>(part, place), place);
  if (!has_power) {
    channel.amplifier_power = power;
    has_power = true;
    return;
  }
  if (channel.speaker_power) fail("a third power is given", place);
  channel.speaker_power = power;
}

void read_part(Channel& channel, bool& has_power, const std::string& part, std::string_view place) {
  switch (kind_of(part)) {
    case 'b':
      channel.bridged = true;
      return;
    case 'W':
      read_power(channel, has_power, part, place);
      return;
    case 'V':
      if (channel.reading) fail("a second reading is given", place);
      channel.reading = require_positive(parse_quantity<Volts>(part, place), place);
      channel.typed_digit = last_digit(part, place);
      return;
    case 'R':
      if (channel.load != Ohms(0.0)) fail("a second load is given", place);
      channel.load = require_positive(parse_quantity<Ohms>(part, place), place);
      return;
    default:
      fail("\"" + part + "\" has no unit that tells what it is", place);
  }
}

}  // namespace

Channel parse_channel(std::string_view text, std::string_view place) {
  const auto parts = split(text);
  Channel channel;
  channel.name = parts.front();
  if (channel.name.empty()) fail("the channel has no name", place);
  const std::string here = std::string(place) + " " + channel.name;
  bool has_power = false;
  for (std::size_t i = 1; i < parts.size(); ++i) read_part(channel, has_power, parts[i], here);
  if (!has_power) fail("the amplifier's rated power is missing", here);
  if (channel.load == Ohms(0.0)) fail("the load is missing", here);
  return channel;
}

Decibels sound_level(Volts volts, Decibels sensitivity) {
  return sensitivity + decibels_from_amplitude_ratio(volts / sensitivity_voltage);
}

}  // namespace railtap::electric
