// SPDX-License-Identifier: MIT
// How a command describes itself: what it takes, and what it does then. The command line, the help
// screens, the manual page and the completions are all made from these descriptions.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace railtap::command {

/// The process's exit status (contract): 130 when interrupted.
enum class ExitStatus : int {
  within_limits = 0,
  outside_limits = 1,
  could_not = 2,
  interrupted = 130
};

/// Takes what was given as the value of an option. \throws Error where it is none
using Reader = std::function<void(const std::string& text)>;

/// Where a value goes: a flag's, a whole number's, a list's (one entry each time it is given), or
/// any other's through its reader. What is pointed to outlives the command.
using Target = std::variant<bool*, int*, std::optional<int>*, std::vector<std::string>*, Reader>;

/// One option, flag or operand of a command. The functions return the option itself.
struct Option {
  std::string names;  ///< "--json", "-o,--output"; an operand has no dashes: "FILE"
  std::string help;
  Target target;
  std::string value;          ///< what the help calls the value: "V", "FILE"; empty for a flag
  std::string default_value;  ///< what the help shows as such
  std::vector<std::string> choices;           ///< all that it may be; empty: anything
  std::vector<std::string> needed, excluded;  ///< names of others of the command
  int words = 1;                              ///< how many follow, for a list
  bool is_required = false;

  Option& called(std::string_view what);  ///< sets `value`
  Option& defaulting_to(std::string_view text);
  Option& one_of(std::vector<std::string> all);
  Option& needs(std::string_view other);
  Option& excludes(std::string_view other);
  Option& of_words(int count);
  Option& required();

  [[nodiscard]] bool is_flag() const { return std::holds_alternative<bool*>(target); }
  [[nodiscard]] bool is_operand() const { return !names.starts_with('-'); }
  /// Its name for errors and for other options: "--output" of "-o,--output".
  [[nodiscard]] std::string name() const;
};

/// A command. Options are shown in the order in which they are added; what adding one returns is
/// for adding to its description at once, and not to be kept.
class Command {
 public:
  Command(std::string_view name, std::string_view help) : name(name), help(help) {}

  std::string name, help;
  std::string footer;   ///< examples that can be pasted, cautions, exit statuses
  bool hidden = false;  ///< from the help screen, the manual page and the completions
  std::vector<Option> options;
  std::function<ExitStatus()> run;  ///< called when all of the targets have their values

  Option& flag(std::string_view names, bool& target, std::string_view help);
  Option& number(std::string_view names, int& target, std::string_view help);
  Option& number(std::string_view names, std::optional<int>& target, std::string_view help);
  Option& text(std::string_view names, std::string& target, std::string_view help);
  Option& text(std::string_view names, std::optional<std::string>& target, std::string_view help);
  Option& list(std::string_view names, std::vector<std::string>& target, std::string_view help);

  /// A number with a unit, of every type in units/quantity.hpp. A mistake is an Error whose place
  /// is the option's name. The second form shows what `target` holds now as the default.
  template <class Q>
  Option& quantity(std::string_view names, std::optional<Q>& target, std::string_view help);
  template <class Q>
  Option& quantity(std::string_view names, Q& target, std::string_view help);

 private:
  Option& add(std::string_view names, std::string_view help, Target target, std::string_view value);
};

/// The commands. Their `run` throws Error where it cannot do its work. `program` is how the program
/// was called, for commands that are to be typed.
[[nodiscard]] Command analyze_command();
[[nodiscard]] Command attenuator_command();
[[nodiscard]] Command calibrate_command();
[[nodiscard]] Command capture_command();
[[nodiscard]] Command demo_command(const std::string& program);
[[nodiscard]] Command devices_command();
[[nodiscard]] Command loopback_command();
[[nodiscard]] Command onset_command();
[[nodiscard]] Command plan_command();
[[nodiscard]] Command record_command();
[[nodiscard]] Command sheet_command();
[[nodiscard]] Command system_command();
[[nodiscard]] Command target_command();
[[nodiscard]] Command tones_command();
[[nodiscard]] Command verify_command();
[[nodiscard]] Command walk_command(const std::string& program);
[[nodiscard]] Command watch_command();

}  // namespace railtap::command
