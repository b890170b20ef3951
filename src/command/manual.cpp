// SPDX-License-Identifier: MIT
// The manual page, written from the command table.
#include "command/manual.hpp"

#include <CLI/CLI.hpp>
#include <ostream>
#include <sstream>
#include <string>

namespace railtap::command {

namespace {

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

std::string value_of(const CLI::Option& option) {
  return option.get_items_expected_max() == 0 ? std::string() : option.get_type_name();
}

void write_option(std::ostream& out, const CLI::Option& option) {
  const bool positional = option.nonpositional() ? false : option.get_positional();
  out << ".TP\n.B " << roff(option.get_name(positional, true)) << '\n';
  std::string description = option.get_description();
  if (const std::string value = value_of(option); !value.empty() && value != "TEXT") {
    description += " (" + value + ')';
  }
  if (option.get_required()) description += " (required)";
  out << roff(description.empty() ? "see above" : description) << '\n';
}

/// A footer holds examples: its lines stay as they are.
void write_examples(std::ostream& out, const std::string& footer) {
  if (footer.empty()) return;
  out << ".PP\n.nf\n" << roff(footer) << "\n.fi\n";
}

void write_command(std::ostream& out, const CLI::App& command) {
  out << ".SS " << roff(command.get_name()) << '\n' << roff(command.get_description()) << ".\n";
  for (const CLI::Option* option : command.get_options({})) {
    if (!option->get_group().empty() && option != command.get_help_ptr())
      write_option(out, *option);
  }
  write_examples(out, command.get_footer());
}

}  // namespace

void write_manual_page(std::ostream& out, const CLI::App& app) {
  out << ".TH RAILTAP 1 \"\" \"railtap " RAILTAP_VERSION "\" \"User Commands\"\n"
      << ".SH NAME\nrailtap \\- set the gain stages of a car stereo by measurement\n"
      << ".SH SYNOPSIS\n.B railtap\n.I COMMAND\n[\\fIFILE\\fR...] [\\fIOPTION\\fR...]\n"
      << ".SH DESCRIPTION\n"
      << roff(app.get_description())
      << "\nEvery number takes a unit: 55W, 4ohm, 14.2V, 350mV, 50Hz, \\-5dB, 39kohm.\n"
      << "Results go to standard output, everything else to standard error.\n.SH COMMANDS\n";
  for (const CLI::App* command : app.get_subcommands({})) {
    if (!command->get_group().empty()) write_command(out, *command);
  }
  out << ".SH EXIT STATUS\n"
      << ".TP\n.B 0\nDone, and within limits.\n"
      << ".TP\n.B 1\nMeasured, and outside a limit: clipped, over the distortion limit, target "
         "missed.\n"
      << ".TP\n.B 2\nCould not do it; standard error says what, where and what to do next.\n"
      << ".TP\n.B 130\nInterrupted; nothing half\\-written is left behind.\n"
      << ".SH ENVIRONMENT\n.TP\n.B NO_COLOR\nWhen set and not empty, no colours are printed.\n";
}

}  // namespace railtap::command
