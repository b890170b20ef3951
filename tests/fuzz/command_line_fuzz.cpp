// SPDX-License-Identifier: MIT
// Fuzzes the command line of the commands that only compute: a line of arguments, one per line of
// the input, gives a result, a mistake with its sentence, or help. The first byte chooses the
// command.
#include <algorithm>
#include <cstdlib>
#include <iostream>
#include <sstream>
#include <vector>

#include "command/program.hpp"
#include "fuzz/fuzzed.hpp"

namespace {

using namespace railtap;

std::vector<std::string> lines(std::string_view text) {
  std::vector<std::string> result;
  std::istringstream stream{std::string(text)};
  for (std::string line; std::getline(stream, line);) result.push_back(line);
  return result;
}

// No file may be written from here.
bool names_a_file(const std::vector<std::string>& arguments) {
  return std::any_of(arguments.begin(), arguments.end(), [](const std::string& argument) {
    return argument.find("svg") != std::string::npos ||
           argument.find("record") != std::string::npos;
  });
}

void run(const std::string& command, std::vector<std::string> arguments) {
  arguments.insert(arguments.begin(), command);
  (void)command::run(
      {"railtap", "", "", {command::target_command(), command::attenuator_command()}},
      std::move(arguments));
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int*, char***) {
  std::cout.setstate(std::ios::badbit);  // the results themselves are of no interest
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const auto arguments = lines(fuzz::as_text(data + 1, size - 1));
  if (names_a_file(arguments)) return 0;
  fuzz::expect_error_at_worst([&] { run(data[0] % 2 == 0 ? "target" : "attenuator", arguments); });
  return 0;
}
