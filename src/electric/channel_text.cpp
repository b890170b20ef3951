// SPDX-License-Identifier: MIT
// A channel's description on one line: front:55W:4ohm:60W:14.1V.
#include "electric/channel_text.hpp"

#include <string>
#include <vector>

#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::electric {
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

}  // namespace railtap::electric
