// SPDX-License-Identifier: MIT
// The AC voltage an amplifier channel should deliver, and a channel's description on one line.
#include "electric/target.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "electric/meter.hpp"
#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::electric {
namespace {

// No car has more; what lies outside is a typing mistake, such as 4kohm for 4 ohm.
constexpr Watts least_power{0.001}, most_power{100000.0};
constexpr Ohms least_load{0.1}, most_load{1000.0};

Decibels change_to(Volts target, Volts reading) {
  return decibels_from_amplitude_ratio(target / reading);
}

Direction direction_of(Decibels change, Decibels tolerance) {
  if (change > tolerance) return Direction::raise;
  if (change < -tolerance) return Direction::lower;
  return Direction::hold;
}

/// Where the amplifier clips at the latest: its rating, or what lies below that.
Watts rail_power(const Channel& channel) {
  Volts rail = rated_volts(channel.amplifier_power, channel.load);
  Watts power = channel.amplifier_power;
  for (const Bound& bound : channel.bounds) {
    const bool is_rail = bound.by == Limit::supply || bound.by == Limit::clipping;
    if (!is_rail || bound.volts >= rail) continue;
    rail = bound.volts;
    power = Watts(rail.value() * rail.value() / channel.load.value());
  }
  return power;
}

void add_bounds(Channel& channel, const Conditions& conditions) {
  const Volts rated = rated_volts(channel.amplifier_power, channel.load);
  if (conditions.supply && !conditions.regulated) {
    const auto bound = supply_bound(rated, *conditions.supply, conditions.rated_supply);
    if (bound) channel.bounds.push_back(*bound);
  }
  if (conditions.source && conditions.sensitivity) {
    const Volts input = *conditions.source * sine_peak(conditions.tone_level.value_or(Dbfs(0.0)));
    channel.bounds.push_back(source_bound(rated, input, *conditions.sensitivity));
  }
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

const char* name(Limit limit) {
  switch (limit) {
    case Limit::amplifier:
      return "amplifier";
    case Limit::speaker:
      return "speaker";
    case Limit::supply:
      return "supply";
    case Limit::head_unit:
      return "head-unit";
    case Limit::clipping:
      break;
  }
  return "clipping";
}

std::optional<Limit> limit_named(std::string_view text) {
  for (const Limit limit :
       {Limit::amplifier, Limit::speaker, Limit::supply, Limit::head_unit, Limit::clipping}) {
    if (text == name(limit)) return limit;
  }
  return std::nullopt;
}

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

Volts rated_volts(Watts power, Ohms load) {
  return Volts(std::sqrt(power.value() * load.value()));
}

std::optional<Bound> supply_bound(Volts rated, Volts supply, Volts rated_supply) {
  const double share = require_positive(supply, "supply") / rated_supply;
  if (share >= 1.0) return std::nullopt;
  return Bound{Limit::supply, rated * share};
}

Bound source_bound(Volts rated, Volts input, Volts sensitivity) {
  return {Limit::head_unit, rated * (input / sensitivity)};
}

Bound clipping_bound(Volts onset) {
  return {Limit::clipping, onset * amplitude_ratio(-below_clipping)};
}

Target rated_target(const Channel& channel) {
  const Watts amplifier = require_within(channel.amplifier_power, least_power, most_power, "power");
  const Ohms load = require_within(channel.load, least_load, most_load, "load");
  if (channel.speaker_power) {
    require_within(*channel.speaker_power, least_power, most_power, "speaker power");
  }
  const bool speaker_is_lower = channel.speaker_power && *channel.speaker_power < amplifier;
  const Watts power = speaker_is_lower ? *channel.speaker_power : amplifier;
  const Volts volts = rated_volts(power, load);
  return {power, speaker_is_lower ? Limit::speaker : Limit::amplifier, volts,
          volts * std::numbers::sqrt2, Amperes(std::sqrt(power.value() / load.value()))};
}

Target target_for(const Channel& channel) {
  Target target = rated_target(channel);
  for (const Bound& bound : channel.bounds) {
    if (bound.volts >= target.volts) continue;
    const double volts = require_positive(bound.volts, name(bound.by)).value();
    target = {Watts(volts * volts / channel.load.value()), bound.by, bound.volts,
              bound.volts * std::numbers::sqrt2, Amperes(volts / channel.load.value())};
  }
  return target;
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
  assessment.plausible = assessment.distance <= plausible_distance;
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
  const Watts rail = rail_power(channel);
  const Decibels room = decibels_from_power_ratio(rail / target.power);
  const Decibels overdrive = std::max(Decibels(0.0), overlap - room);
  const HardClip clip = hard_clip(overdrive);
  const bool clips = overdrive > Decibels(0.0);
  const Watts full_scale =
      clips ? rail * clip.power_gain : target.power * std::pow(10.0, overlap.value() / 10.0);
  return {tone_level,
          overlap,
          overdrive,
          clip.thd,
          full_scale,
          target.volts / amplitude_ratio(overlap),
          target.power / std::pow(10.0, overlap.value() / 10.0)};
}

SupplyEffect supply_effect(const Target& rated, const Channel& channel,
                           const Conditions& conditions) {
  const Volts supply = require_positive(conditions.supply.value_or(Volts(0.0)), "supply");
  const double ratio = supply / conditions.rated_supply;
  const Volts reachable = rated_volts(channel.amplifier_power, channel.load) * ratio;
  return {supply, decibels_from_amplitude_ratio(ratio), reachable, rated.volts,
          reachable >= rated.volts};
}

ChannelTarget resolve(const Channel& described, const Conditions& conditions) {
  const Target at_rated_supply = target_for(described);  // checks the ratings, too
  Channel channel = described;
  add_bounds(channel, conditions);
  ChannelTarget result{channel, target_for(channel), {}, {}, {}, {}};
  result.each_half_load = channel.bridged ? channel.load / 2.0 : channel.load;
  if (conditions.meter && conditions.tone_frequency) {
    require_in_band(*conditions.meter, *conditions.tone_frequency, "tone frequency");
  }
  if (channel.reading) result.assessment = assess(result.target, channel, conditions);
  if (conditions.tone_level) {
    result.overlap = overlap_for(result.target, channel, *conditions.tone_level);
  }
  if (conditions.supply && !conditions.regulated) {
    result.supply = supply_effect(at_rated_supply, channel, conditions);
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

/// The unit's letters decide; a number alone is refused, since it could be any of them.
char kind_of(const std::string& part) {
  if (part == "bridged") return 'b';
  if (part.find_first_of("Ww") != std::string::npos) return 'W';
  if (part.find_first_of("Vv") != std::string::npos) return 'V';
  const auto last = part.find_last_not_of(' ');
  if (last == std::string::npos) return '?';
  return part[last] >= '0' && part[last] <= '9' ? '?' : 'R';
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
