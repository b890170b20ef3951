// SPDX-License-Identifier: MIT
// Where a recording comes from, and what that says about trusting it.
#include "command/provenance.hpp"

#include <chrono>
#include <iostream>

#include "units/print.hpp"

namespace railtap::command {
namespace {

void append(std::vector<std::string>& to, std::vector<std::string> more) {
  for (std::string& sentence : more) to.push_back(std::move(sentence));
}

}  // namespace

Provenance provenance_of(const std::filesystem::path& path, const audio::Source& source,
                         std::int64_t frames) {
  Provenance provenance;
  if (source.notes) provenance.warnings = source.notes();
  system::Sidecar sidecar = system::read_capture_sidecar(path);
  append(provenance.warnings, std::move(sidecar.damage));
  if (sidecar.record) {
    append(provenance.warnings,
           system::capture_warnings(*sidecar.record, source.format.rate, frames));
    using namespace std::chrono;
    const std::string future =
        system::future_warning(*sidecar.record, floor<days>(system_clock::now()));
    if (!future.empty()) append(provenance.warnings, {future});
  }
  provenance.sidecar = std::move(sidecar.record);
  return provenance;
}

std::vector<std::string> calibration_warnings(const system::CalibrationRecord& calibration,
                                              const std::string& file, Hertz rate,
                                              const std::optional<std::string>& device) {
  std::vector<std::string> warnings;
  const auto& origin = calibration.origin;
  const std::string only = "; the volts hold only for the same input at the same setting.";
  if (origin.sample_rate && *origin.sample_rate != rate) {
    warnings.push_back("The calibration " + file + " was made at " +
                       format_quantity(*origin.sample_rate, 6) + ", this has " +
                       format_quantity(rate, 6) + only);
  }
  if (origin.device && device && *origin.device != *device) {
    warnings.push_back("The calibration " + file + " was made with '" + *origin.device +
                       "', this comes from '" + *device + "'" + only);
  }
  return warnings;
}

void add_calibration_warnings(Provenance& provenance, const system::CalibrationRecord& calibration,
                              const std::string& file, Hertz rate) {
  std::optional<std::string> device;
  if (provenance.sidecar) device = provenance.sidecar->device;
  append(provenance.warnings, calibration_warnings(calibration, file, rate, device));
}

void add_interface_warnings(Provenance& provenance, const electric::SoundInterface& interface,
                            const std::string& file, Hertz rate) {
  auto& warnings = provenance.warnings;
  if (interface.rate != rate) {
    warnings.push_back("The loop-back " + file + " was measured at " +
                       format_quantity(interface.rate, 6) + ", this has " +
                       format_quantity(rate, 6) + "; its figures hold at its own rate.");
  }
  const auto& sidecar = provenance.sidecar;
  if (sidecar && !interface.device.empty() && sidecar->device != interface.device) {
    warnings.push_back("The loop-back " + file + " is of '" + interface.device +
                       "', this comes from '" + sidecar->device + "'.");
  }
}

void tell(const std::vector<std::string>& warnings) {
  for (const std::string& warning : warnings) std::cerr << "railtap: note: " << warning << '\n';
}

}  // namespace railtap::command
