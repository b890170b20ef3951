// SPDX-License-Identifier: MIT
// Command-line options that take a number with a unit; for the command files, which know CLI11
// anyway.
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <string_view>

#include "units/parse.hpp"
#include "units/print.hpp"
#include "units/unit_table.hpp"

namespace railtap::command {

/// The long name out of CLI11's "-p,--power", for errors.
[[nodiscard]] inline std::string long_name(const std::string& flags) {
  const auto dashes = flags.rfind("--");
  return dashes == std::string::npos ? flags
                                     : flags.substr(dashes, flags.find(',', dashes) - dashes);
}

/// Adds an option such as `--power` whose value is parsed into `target`, which outlives `app`.
/// CLI11's own unit reader keeps six digits only and has its own exit status; here a mistake is an
/// Error whose place is the option's long name, so that main.cpp prints it and exits with 2.
template <class Q>
CLI::Option* add_quantity(CLI::App& app, const std::string& flags, std::optional<Q>& target,
                          const std::string& help) {
  const auto parse = [&target, name = long_name(flags)](const std::string& text) {
    target = parse_quantity<Q>(text, name);
  };
  return app.add_option_function<std::string>(flags, parse, help)
      ->type_name(std::string(units::unit_info<Q>().symbol));
}

/// The same for an option with a default, which is what `target` holds now.
template <class Q>
CLI::Option* add_quantity(CLI::App& app, const std::string& flags, Q& target,
                          const std::string& help) {
  const auto parse = [&target, name = long_name(flags)](const std::string& text) {
    target = parse_quantity<Q>(text, name);
  };
  return app.add_option_function<std::string>(flags, parse, help)
      ->type_name(std::string(units::unit_info<Q>().symbol))
      ->default_str(format_quantity(target));
}

}  // namespace railtap::command
