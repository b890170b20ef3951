// SPDX-License-Identifier: MIT
// What a command describes arrives from the command line; mistakes are errors that name the option.
#include "command/program.hpp"

#include <doctest/doctest.h>

#include <sstream>
#include <string>
#include <vector>

#include "units/error.hpp"
#include "units/quantity.hpp"

using namespace railtap;
using command::Command;
using command::ExitStatus;
using command::Program;

namespace {

struct Given {
  std::string file, side = "both";
  std::optional<std::string> note;
  std::optional<Watts> power;
  Dbfs level{0.0};
  std::optional<int> channel;
  int bits = 24;
  std::vector<std::string> tones, pair;
  bool json = false, plain = false;
};

Command command_for(Given& given) {
  Command command("try", "Does nothing");
  command.text("FILE", given.file, "recording").required();
  command.text("--side", given.side, "where").one_of({"both", "left"}).defaulting_to(given.side);
  command.text("--note", given.note, "remark");
  command.quantity("-p,--power", given.power, "rated power");
  command.quantity("--tone-level", given.level, "level of the tone").needs("--power");
  command.number("--channel", given.channel, "channel");
  command.number("--bits", given.bits, "bits").called("BITS");
  command.list("--tone", given.tones, "track");
  command.list("--pair", given.pair, "file and attenuation").of_words(2);
  command.flag("--json", given.json, "JSON").excludes("--plain");
  command.flag("--plain", given.plain, "lines");
  command.run = [] { return ExitStatus::outside_limits; };
  return command;
}

Given parse(std::vector<std::string> words) {
  Given given;
  words.insert(words.begin(), "try");
  CHECK(command::run({"railtap", "", "", {command_for(given)}}, words) ==
        ExitStatus::outside_limits);
  return given;
}

std::string mistake_in(const std::vector<std::string>& words) {
  Given given;
  try {
    (void)command::run({"railtap", "", "", {command_for(given)}}, words);
  } catch (const Error& error) {
    return error.what();
  }
  return "no mistake";
}

}  // namespace

TEST_CASE("program: values arrive, and defaults stay") {
  const auto given = parse({"a.wav", "--power", "55W", "--channel=2", "--json"});
  CHECK(given.file == "a.wav");
  REQUIRE(given.power.has_value());
  CHECK(*given.power == Watts(55.0));
  CHECK(given.channel == 2);
  CHECK(given.json);
  CHECK(given.level == Dbfs(0.0));
  CHECK(given.side == "both");
  CHECK(given.bits == 24);
  CHECK_FALSE(given.note.has_value());
  CHECK_FALSE(given.plain);
}

TEST_CASE("program: a negative level is a value, not an option") {
  CHECK(parse({"a.wav", "-p", "1W", "--tone-level", "-5dB"}).level == Dbfs(-5.0));
  CHECK(parse({"a.wav", "-p", "1W", "--tone-level=-5dB"}).level == Dbfs(-5.0));
  CHECK(parse({"a.wav", "-p", "1W", "--tone-level", "-.5dB"}).level == Dbfs(-0.5));
}

TEST_CASE("program: a list grows each time, and takes no word of another's") {
  const auto given = parse({"--tone", "low", "--tone", "high", "--pair", "b.wav", "6dB", "a.wav"});
  CHECK(given.tones == std::vector<std::string>{"low", "high"});
  CHECK(given.pair == std::vector<std::string>{"b.wav", "6dB"});
  CHECK(given.file == "a.wav");
}

TEST_CASE("program: a mistake is named, with where the help is") {
  CHECK(mistake_in({"try", "a.wav", "-p", "4ohm"}) ==
        "--power: \"4ohm\" is in ohms, not in watts; write it like 55W");
  CHECK(mistake_in({"try"}) == "FILE is required; see railtap try --help");
  CHECK(mistake_in({"try", "a.wav", "--tone-level", "1"}) ==
        "--tone-level requires --power; see railtap try --help");
  CHECK(mistake_in({"try", "a.wav", "--plain", "--json"}) ==
        "--json excludes --plain; see railtap try --help");
  CHECK(mistake_in({"try", "a.wav", "--side", "right"}) ==
        "--side: right not in {both,left}; see railtap try --help");
  CHECK(mistake_in({"try", "a.wav", "55W", "4ohm"}) ==
        "'55W 4ohm' belongs to no option; see railtap try --help");
  CHECK(mistake_in({"do"}) == "there is no command 'do'; see railtap --help");
  CHECK(mistake_in({"trie"}) == "there is no command 'trie'; did you mean try? see railtap --help");
  CHECK(mistake_in({}) == "no command was given; see railtap --help");
}

TEST_CASE("program: for an option that is not there, the nearest one is named") {
  const std::string help = " see railtap try --help";
  CHECK(mistake_in({"try", "--powr", "55W"}) ==
        "there is no option --powr; did you mean --power?" + help);
  CHECK(mistake_in({"try", "--tone-l=-5"}) ==
        "there is no option --tone-l; did you mean --tone-level?" + help);
  CHECK(mistake_in({"try", "a.wav", "--xyz"}) == "there is no option --xyz;" + help);
  CHECK(mistake_in({"try", "--", "--powr"}) == "no mistake");
}

TEST_CASE("program: the manual page and the completions have what the command describes") {
  Given given;
  Program program{"railtap", "Sets gains.", "1.0", {command_for(given)}};
  program.commands.push_back(command::reference_command(program));
  std::ostringstream page, bash;
  command::write_manual_page(page, program);
  command::write_completion(bash, program, "bash");
  const auto holds = [](const std::ostringstream& out, const char* text) {
    return out.str().find(text) != std::string::npos;
  };
  CHECK(holds(page, ".SS try\nDoes nothing.\n"));
  CHECK(holds(page, ".B \\-p,\\-\\-power\nrated power (W)\n"));
  CHECK(holds(page, ".B \\-\\-side\nwhere (TEXT:{both,left})\n"));
  CHECK(holds(page, ".B FILE\nrecording (required)\n"));
  CHECK_FALSE(holds(page, ".SS reference"));
  CHECK(holds(bash, "'try --side') words='both left' ;;"));
  CHECK_FALSE(holds(bash, "reference"));
  CHECK_THROWS_AS(command::write_completion(bash, program, "tcl"), Error);
}
