// SPDX-License-Identifier: MIT
// Fuzzes the reading of files that last: any text is what it claims to be or an Error. The first
// byte chooses the kind of file.
#include <cstdlib>

#include "fuzz/fuzzed.hpp"
#include "rig/description.hpp"
#include "system/job_record.hpp"
#include "system/kept_files.hpp"
#include "system/plan.hpp"
#include "system/recipe.hpp"
#include "system/system_description.hpp"

namespace {

using namespace railtap;

// What was read, written and read again is the same.
void read_calibration_twice(std::string_view text) {
  const auto record = system::parse_calibration(text, "calibration");
  const auto again = system::parse_calibration(system::calibration_text(record), "again");
  if (again.volts_per_full_scale != record.volts_per_full_scale) std::abort();
}

void read_record_twice(std::string_view text) {
  const auto record = system::parse_job_record(text, "record");
  const auto again = system::parse_job_record(system::job_record_text(record), "again");
  if (again.entries.size() != record.entries.size()) std::abort();
}

void read(char kind, std::string_view text) {
  switch (kind) {
    case 'c':
      read_calibration_twice(text);
      break;
    case 'k':
      (void)system::parse_recipe(text, "kit");
      break;
    case 's':
      (void)system::make_plan(system::parse_system(text, "system"));
      break;
    case 'j':
      read_record_twice(text);
      break;
    default:
      (void)rig::parse_rig(text, "rig");
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const auto text = railtap::fuzz::as_text(data + 1, size - 1);
  railtap::fuzz::expect_error_at_worst([&] { read(static_cast<char>(data[0]), text); });
  return 0;
}
