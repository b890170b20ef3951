// SPDX-License-Identifier: MIT
// The command line, read by CLI11; no other file knows CLI11.
#include "command/program.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>

#include "files/toml_table.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

/// Hands an option to CLI11, with where its value goes.
struct Adder {
  CLI::App& app;
  const Option& option;

  CLI::Option* operator()(bool* target) const {
    return app.add_flag(option.names, *target, option.help);
  }
  CLI::Option* operator()(std::vector<std::string>* target) const {
    auto* added = app.add_option(option.names, *target, option.help);
    return option.words > 1 ? added->expected(option.words) : added->allow_extra_args(false);
  }
  CLI::Option* operator()(const Reader& read) const {
    return app.add_option_function<std::string>(option.names, read, option.help);
  }
  template <class Number>  // int, optional or not
  CLI::Option* operator()(Number* target) const {
    return app.add_option(option.names, *target, option.help);
  }
};

void add(CLI::App& app, const Option& option) {
  CLI::Option* added = std::visit(Adder{app, option}, option.target);
  if (!option.is_flag()) added->type_name(option.value);
  if (!option.default_value.empty()) added->default_str(option.default_value);
  if (!option.choices.empty()) added->check(CLI::IsMember(option.choices));
  added->required(option.is_required);
}

/// What an option needs or excludes may have been added after it.
void relate(CLI::App& app, const Option& option) {
  CLI::Option* added = app.get_option(option.name());
  for (const std::string& other : option.needed) added->needs(app.get_option(other));
  for (const std::string& other : option.excluded) added->excludes(app.get_option(other));
}

void add(CLI::App& app, const Command& command) {
  CLI::App* added = app.add_subcommand(command.name, command.help);
  added->footer(command.footer);
  if (command.hidden) added->group("");
  for (const Option& option : command.options) add(*added, option);
  for (const Option& option : command.options) relate(*added, option);
}

/// What was wrong with the command line, and where its help is.
Error mistake(const CLI::App& app, const CLI::ParseError& error) {
  std::string help = app.get_name();
  for (const CLI::App* command : app.get_subcommands()) help += ' ' + command->get_name();
  std::string problem = error.what();
  while (!problem.empty() && (problem.back() == '\n' || problem.back() == '.')) problem.pop_back();
  return {problem, "", "see " + help + " --help"};
}

/// Words that belong to no option.
Error left_over(const CLI::App& app) {
  const CLI::App& command = *app.get_subcommands().front();
  std::string list;
  for (const std::string& word : command.remaining()) list += (list.empty() ? "" : " ") + word;
  return {"'" + list + "' belongs to no option", "",
          "see " + app.get_name() + ' ' + command.get_name() + " --help"};
}

const Command* command_of(const Program& program, const std::string& name) {
  const auto found = std::find_if(program.commands.begin(), program.commands.end(),
                                  [&name](const Command& command) { return command.name == name; });
  return found == program.commands.end() ? nullptr : &*found;
}

/// CLI11 would only say that a subcommand is required.
void check_command_name(const Program& program, const std::vector<std::string>& words) {
  const std::string remedy = "see " + program.name + " --help";
  if (words.empty()) throw Error("no command was given", "", remedy);
  const std::string& name = words.front();
  if (name.starts_with('-') || command_of(program, name) != nullptr) return;
  std::vector<std::string> names;
  for (const Command& command : program.commands) {
    if (!command.hidden) names.push_back(command.name);
  }
  const std::string guess = files::nearest_word(name, names);
  throw Error("there is no command '" + name + "'", "",
              (guess.empty() ? "" : "did you mean " + guess + "? ") + remedy);
}

/// The name that begins with what was typed, else the one that differs least; empty for neither.
std::string nearest_option(const std::string& typed, const std::vector<std::string>& names) {
  const auto longer = std::find_if(names.begin(), names.end(), [&typed](const std::string& name) {
    return typed.size() > 3 && name.starts_with(typed);
  });
  if (longer != names.end()) return *longer;
  std::vector<std::string> bare;  // the dashes, which all have, make nothing alike
  bare.reserve(names.size());
  for (const std::string& name : names) bare.push_back(name.substr(name.find_first_not_of('-')));
  const std::string guess = files::nearest_word(typed.substr(2), bare);
  return guess.empty() ? guess : "--" + guess;
}

/// CLI11 would complain about what is missing first, and name no other option.
void check_option_names(const Program& program, const std::vector<std::string>& words) {
  const Command* command = command_of(program, words.front());
  if (command == nullptr) return;
  std::vector<std::string> names{"--help"};
  for (const Option& option : command->options) {
    if (!option.is_operand()) names.push_back(option.name());
  }
  for (auto word = words.begin() + 1; word != words.end() && *word != "--"; ++word) {
    const std::string name = word->substr(0, word->find('='));
    if (!name.starts_with("--") || std::find(names.begin(), names.end(), name) != names.end())
      continue;
    const std::string guess = nearest_option(name, names);
    throw Error("there is no option " + name, "",
                (guess.empty() ? "" : "did you mean " + guess + "? ") + "see " + program.name +
                    ' ' + command->name + " --help");
  }
}

}  // namespace

ExitStatus run(const Program& program, std::vector<std::string> words) {
  check_command_name(program, words);
  check_option_names(program, words);
  CLI::App app{program.help, program.name};
  app.require_subcommand(1);
  app.set_version_flag("--version", program.name + ' ' + program.version);
  for (const Command& command : program.commands) add(app, command);
  std::reverse(words.begin(), words.end());  // as CLI11 takes them
  try {
    app.parse(std::move(words));
  } catch (const CLI::ExtrasError&) {
    throw left_over(app);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() != 0) throw mistake(app, error);
    app.exit(error);  // prints what --help or --version asked for
    return ExitStatus::within_limits;
  }
  return command_of(program, app.get_subcommands().front()->get_name())->run();
}

}  // namespace railtap::command
