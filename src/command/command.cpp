// SPDX-License-Identifier: MIT
// How a command describes itself: what it takes, and what it does then.
#include "command/command.hpp"

#include <utility>

#include "units/parse.hpp"
#include "units/print.hpp"
#include "units/quantity.hpp"
#include "units/unit_table.hpp"

namespace railtap::command {

Option& Option::called(std::string_view what) {
  value = what;
  return *this;
}

Option& Option::defaulting_to(std::string_view text) {
  default_value = text;
  return *this;
}

Option& Option::one_of(std::vector<std::string> all) {
  choices = std::move(all);
  return *this;
}

Option& Option::needs(std::string_view other) {
  needed.emplace_back(other);
  return *this;
}

Option& Option::excludes(std::string_view other) {
  excluded.emplace_back(other);
  return *this;
}

Option& Option::of_words(int count) {
  words = count;
  return *this;
}

Option& Option::required() {
  is_required = true;
  return *this;
}

std::string Option::name() const {
  const auto dashes = names.rfind("--");
  if (dashes == std::string::npos) return names;
  return names.substr(dashes, names.find(',', dashes) - dashes);
}

Option& Command::add(std::string_view names, std::string_view help, Target target,
                     std::string_view value) {
  Option& option = options.emplace_back();
  option.names = names;
  option.help = help;
  option.target = std::move(target);
  option.value = value;
  return option;
}

Option& Command::flag(std::string_view names, bool& target, std::string_view help) {
  return add(names, help, &target, "");
}

Option& Command::number(std::string_view names, int& target, std::string_view help) {
  return add(names, help, &target, "INT");
}

Option& Command::number(std::string_view names, std::optional<int>& target, std::string_view help) {
  return add(names, help, &target, "INT");
}

Option& Command::text(std::string_view names, std::string& target, std::string_view help) {
  return add(
      names, help, [&target](const std::string& text) { target = text; }, "TEXT");
}

Option& Command::text(std::string_view names, std::optional<std::string>& target,
                      std::string_view help) {
  return add(
      names, help, [&target](const std::string& text) { target = text; }, "TEXT");
}

Option& Command::list(std::string_view names, std::vector<std::string>& target,
                      std::string_view help) {
  return add(names, help, &target, "TEXT");
}

template <class Q>
Option& Command::quantity(std::string_view names, std::optional<Q>& target, std::string_view help) {
  Option& option = add(names, help, Reader(), units::unit_info<Q>().symbol);
  option.target = [&target, name = option.name()](const std::string& text) {
    target = parse_quantity<Q>(text, name);
  };
  return option;
}

template <class Q>
Option& Command::quantity(std::string_view names, Q& target, std::string_view help) {
  Option& option = add(names, help, Reader(), units::unit_info<Q>().symbol);
  option.target = [&target, name = option.name()](const std::string& text) {
    target = parse_quantity<Q>(text, name);
  };
  return option.defaulting_to(format_quantity(target));
}

// A type in parentheses is no template argument.
// NOLINTBEGIN(bugprone-macro-parentheses)
#define RAILTAP_QUANTITY_OPTION(Q)                                                           \
  template Option& Command::quantity(std::string_view, std::optional<Q>&, std::string_view); \
  template Option& Command::quantity(std::string_view, Q&, std::string_view);
// NOLINTEND(bugprone-macro-parentheses)
RAILTAP_QUANTITY_OPTION(Volts)
RAILTAP_QUANTITY_OPTION(Watts)
RAILTAP_QUANTITY_OPTION(Ohms)
RAILTAP_QUANTITY_OPTION(Amperes)
RAILTAP_QUANTITY_OPTION(Farads)
RAILTAP_QUANTITY_OPTION(Hertz)
RAILTAP_QUANTITY_OPTION(Seconds)
RAILTAP_QUANTITY_OPTION(Metres)
RAILTAP_QUANTITY_OPTION(SquareMillimetres)
RAILTAP_QUANTITY_OPTION(Percent)
RAILTAP_QUANTITY_OPTION(Decibels)
RAILTAP_QUANTITY_OPTION(Dbfs)
#undef RAILTAP_QUANTITY_OPTION

}  // namespace railtap::command
