// SPDX-License-Identifier: MIT
// `railtap reference`: the manual page and the shells' completions. Nothing is said twice: all of
// it comes from what the commands say of themselves.
#include <iostream>
#include <memory>

#include "command/program.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

/// Every command has it, by the library that reads the command line.
constexpr const char* help_name = "--help";
constexpr const char* help_of_help = "Print this help message and exit";

std::string listed(const std::vector<std::string>& words, char between) {
  std::string all;
  for (const std::string& word : words) {
    if (!all.empty()) all += between;
    all += word;
  }
  return all;
}

/// Text as roff prints it literally: no escapes, hyphens that can be copied into a shell, no
/// control lines.
std::string roff(const std::string& text) {
  std::string result;
  bool line_start = true;
  for (const char c : text) {
    if (line_start && (c == '.' || c == '\'')) result += "\\&";
    if (c == '\\') {
      result += "\\e";
    } else if (c == '-') {
      result += "\\-";
    } else {
      result += c;
    }
    line_start = c == '\n';
  }
  return result;
}

/// What the manual page says of an option's value: "V", "TEXT:{before,after}".
std::string value_of(const Option& option) {
  if (option.choices.empty()) return option.value == "TEXT" ? std::string() : option.value;
  return option.value + ":{" + listed(option.choices, ',') + '}';
}

void write_option(std::ostream& out, const Option& option) {
  out << ".TP\n.B " << roff(option.names) << '\n';
  std::string description = option.help;
  if (const std::string value = value_of(option); !value.empty()) {
    description += " (" + value + ')';
  }
  if (option.is_required) description += " (required)";
  out << roff(description) << '\n';
}

/// A footer holds examples: its lines stay as they are.
void write_examples(std::ostream& out, const std::string& footer) {
  if (footer.empty()) return;
  out << ".PP\n.nf\n" << roff(footer) << "\n.fi\n";
}

void write_command(std::ostream& out, const Command& command) {
  out << ".SS " << roff(command.name) << '\n' << roff(command.help) << ".\n";
  for (const Option& option : command.options) write_option(out, option);
  write_examples(out, command.footer);
}

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

Entry entry_of(const Command& command) {
  Entry entry{command.name, command.help, {{help_name, help_of_help, ""}}};
  for (const Option& option : command.options) {
    if (option.is_operand()) continue;
    entry.flags.push_back({option.name(), option.help, listed(option.choices, ' ')});
  }
  return entry;
}

std::vector<Entry> entries_of(const Program& program) {
  std::vector<Entry> entries;
  for (const Command& command : program.commands) {
    if (!command.hidden) entries.push_back(entry_of(command));
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

void write_manual_page(std::ostream& out, const Program& program) {
  out << ".TH RAILTAP 1 \"\" \"railtap " << program.version << "\" \"User Commands\"\n"
      << ".SH NAME\nrailtap \\- set the gain stages of a car stereo by measurement\n"
      << ".SH SYNOPSIS\n.B railtap\n.I COMMAND\n[\\fIFILE\\fR...] [\\fIOPTION\\fR...]\n"
      << ".SH DESCRIPTION\n"
      << roff(program.help)
      << "\nEvery number takes a unit: 55W, 4ohm, 14.2V, 350mV, 50Hz, \\-5dB, 39kohm.\n"
      << "Results go to standard output, everything else to standard error.\n.SH COMMANDS\n";
  for (const Command& command : program.commands) {
    if (!command.hidden) write_command(out, command);
  }
  out << ".SH EXIT STATUS\n"
      << ".TP\n.B 0\nDone, and within limits.\n"
      << ".TP\n.B 1\nMeasured, and outside a limit: clipped, over the distortion limit, target "
         "missed.\n"
      << ".TP\n.B 2\nCould not do it; standard error says what, where and what to do next.\n"
      << ".TP\n.B 130\nInterrupted; nothing half\\-written is left behind.\n"
      << ".SH ENVIRONMENT\n.TP\n.B NO_COLOR\nWhen set and not empty, no colours are printed.\n";
}

void write_completion(std::ostream& out, const Program& program, const std::string& shell) {
  const std::vector<Entry> entries = entries_of(program);
  if (shell == "bash") return write_bash(out, entries);
  if (shell == "zsh") return write_zsh(out, entries);
  if (shell == "fish") return write_fish(out, entries);
  throw Error("no completion is written for the shell '" + shell + "'", "",
              "ask for bash, zsh or fish");
}

Command reference_command(const Program& program) {
  Command command("reference", "Print the manual page or a shell's completion");
  command.hidden = true;  // the build uses it, people need not
  auto kind = std::make_shared<std::string>();
  command.text("KIND", *kind, "What to print").required().one_of({"man", "bash", "zsh", "fish"});
  command.run = [&program, kind] {
    if (*kind == "man") {
      write_manual_page(std::cout, program);
    } else {
      write_completion(std::cout, program, *kind);
    }
    return ExitStatus::within_limits;
  };
  return command;
}

}  // namespace railtap::command
