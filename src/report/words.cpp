// SPDX-License-Identifier: MIT
// Numbers of documents in words.
#include "report/words.hpp"

#include <array>
#include <charconv>

#include "report/markup.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::report {
namespace {

constexpr const char* unknown = "not measured";

/// The shortest text that reads back as the same number.
std::string shortest(double value) {
  std::array<char, 64> buffer{};
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  return std::string(buffer.data(), end.ptr);
}

template <class Format>
Shown shown(const JsonView& place, Format format) {
  const auto value = place.number();
  if (!value) return {unknown, "", place.pointer(), false};
  return {format(*value), shortest(*value), place.pointer(), true};
}

template <class Q>
Shown measured(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Q(value), 4, Zeros::keep); });
}

template <class Q>
Shown rated(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Q(value), 4); });
}

}  // namespace

Shown volts(const JsonView& place) {
  return measured<Volts>(place);
}
Shown watts(const JsonView& place) {
  return rated<Watts>(place);
}
Shown ohms(const JsonView& place) {
  return rated<Ohms>(place);
}
Shown hertz(const JsonView& place) {
  return rated<Hertz>(place);
}
Shown decibels(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Decibels(value), 2); });
}
Shown fine_decibels(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Decibels(value), 3); });
}
Shown signed_decibels(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Decibels(value), 2, Sign::always); });
}
Shown dbfs(const JsonView& place) {
  return shown(place, [](double value) { return format_fixed(Dbfs(value), 1); });
}
Shown percent(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Percent(value), 2); });
}
Shown travel(const JsonView& place) {
  return shown(place, [](double value) { return format_quantity(Percent(value), 3); });
}
Shown plain(const JsonView& place) {
  return shown(place, shortest);
}

std::string marked(const Shown& number) {
  if (!number.known) return "<span class=\"unknown\">" + escaped(number.shown) + "</span>";
  return "<data value=\"" + escaped(number.value) + "\" data-from=\"" + escaped(number.pointer) +
         "\">" + escaped(number.shown) + "</data>";
}

std::string channel_heading(const std::string& name, int number) {
  return name.empty() ? "Channel " + std::to_string(number) : visible(name);
}

system::Json name_json(const std::string& name) {
  return name.empty() ? system::Json(nullptr) : system::Json(name);
}

}  // namespace railtap::report
