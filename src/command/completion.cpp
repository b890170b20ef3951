// SPDX-License-Identifier: MIT
// The shells' completions, written from the command table.
#include <CLI/CLI.hpp>
#include <ostream>
#include <string>
#include <vector>

#include "command/manual.hpp"
#include "units/error.hpp"

namespace railtap::command {

namespace {

struct Flag {
  std::string name;  ///< with its dashes
  std::string help;  ///< one line
  std::string
      choices;  ///< the words it accepts, with spaces between; empty where it takes anything
};

struct Entry {
  std::string name;
  std::string help;
  std::vector<Flag> flags;
};

/// CLI11 shows a closed set of values in braces after the type: TEXT:{wav,flac}.
std::string choices_of(const CLI::Option& option) {
  const std::string type = option.get_type_name();
  const auto open = type.find('{');
  const auto close = type.find('}', open);
  if (open == std::string::npos || close == std::string::npos) return {};
  std::string words = type.substr(open + 1, close - open - 1);
  for (char& c : words) {
    if (c == ',') c = ' ';
  }
  return words;
}

Entry entry_of(const CLI::App& command) {
  Entry entry{command.get_name(), command.get_description(), {}};
  for (const CLI::Option* option : command.get_options({})) {
    if (option->get_group().empty()) continue;
    for (const std::string& name : option->get_lnames()) {
      entry.flags.push_back({"--" + name, option->get_description(), choices_of(*option)});
    }
  }
  return entry;
}

std::vector<Entry> entries_of(const CLI::App& app) {
  std::vector<Entry> entries;
  for (const CLI::App* command : app.get_subcommands({})) {
    if (!command->get_group().empty()) entries.push_back(entry_of(*command));
  }
  return entries;
}

/// Text that every shell takes between single quotes: it loses the characters that would end the
/// quotes, the line or a field, which a one-line description does not need.
std::string plain(const std::string& text) {
  std::string result;
  for (const char c : text) {
    if (c == '\n') {
      result += ' ';
    } else if (c != '\'' && c != '[' && c != ']' && c != ':') {
      result += c;
    }
  }
  return result;
}

std::string names(const std::vector<Entry>& entries) {
  std::string words;
  for (const Entry& entry : entries) words += (words.empty() ? "" : " ") + entry.name;
  return words;
}

void write_bash(std::ostream& out, const std::vector<Entry>& entries) {
  out << "# bash completion for railtap\n_railtap() {\n"
      << "  local current=${COMP_WORDS[COMP_CWORD]} previous=${COMP_WORDS[COMP_CWORD-1]} words=\n"
      << "  if [ \"$COMP_CWORD\" -eq 1 ]; then\n    words='" << names(entries)
      << " --help'\n  else\n"
      << "    case \"${COMP_WORDS[1]} $previous\" in\n";
  for (const Entry& entry : entries) {
    for (const Flag& flag : entry.flags) {
      if (flag.choices.empty()) continue;
      out << "      '" << entry.name << ' ' << flag.name << "') words='" << flag.choices
          << "' ;;\n";
    }
  }
  out << "    esac\n    if [ -z \"$words\" ]; then\n      case \"$current\" in -*) ;; *) return ;; "
         "esac\n"
      << "      case \"${COMP_WORDS[1]}\" in\n";
  for (const Entry& entry : entries) {
    out << "        " << entry.name << ") words='";
    for (const Flag& flag : entry.flags) out << flag.name << ' ';
    out << "' ;;\n";
  }
  out << "      esac\n    fi\n  fi\n  COMPREPLY=($(compgen -W \"$words\" -- \"$current\"))\n}\n"
      << "complete -o default -F _railtap railtap\n";
}

void write_zsh(std::ostream& out, const std::vector<Entry>& entries) {
  out << "#compdef railtap\n_railtap() {\n  local -a commands\n  commands=(\n";
  for (const Entry& entry : entries)
    out << "    '" << entry.name << ':' << plain(entry.help) << "'\n";
  out << "  )\n  if (( CURRENT == 2 )); then\n    _describe command commands\n    return\n  fi\n"
      << "  case $words[2] in\n";
  for (const Entry& entry : entries) {
    out << "    " << entry.name << ")\n      _arguments";
    for (const Flag& flag : entry.flags) {
      out << " \\\n        '" << flag.name << '[' << plain(flag.help) << ']';
      if (!flag.choices.empty()) out << ":value:(" << flag.choices << ')';
      out << '\'';
    }
    out << " \\\n        '*:file:_files'\n      ;;\n";
  }
  out << "  esac\n}\n_railtap \"$@\"\n";
}

void write_fish(std::ostream& out, const std::vector<Entry>& entries) {
  out << "# fish completion for railtap\n";
  for (const Entry& entry : entries) {
    out << "complete -c railtap -n __fish_use_subcommand -f -a " << entry.name << " -d '"
        << plain(entry.help) << "'\n";
    for (const Flag& flag : entry.flags) {
      out << "complete -c railtap -n '__fish_seen_subcommand_from " << entry.name << "' -l "
          << flag.name.substr(2) << " -d '" << plain(flag.help) << '\'';
      if (!flag.choices.empty()) out << " -x -a '" << flag.choices << '\'';
      out << '\n';
    }
  }
}

}  // namespace

void write_completion(std::ostream& out, const CLI::App& app, const std::string& shell) {
  const std::vector<Entry> entries = entries_of(app);
  if (shell == "bash") return write_bash(out, entries);
  if (shell == "zsh") return write_zsh(out, entries);
  if (shell == "fish") return write_fish(out, entries);
  throw Error("no completion is written for the shell '" + shell + "'", "",
              "ask for bash, zsh or fish");
}

}  // namespace railtap::command
