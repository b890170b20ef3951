// SPDX-License-Identifier: MIT
// Wiring and filters in the demo: verified as found, put right, verified again.
#pragma once

#include <filesystem>
#include <iosfwd>
#include <vector>

#include "command/demo_bench.hpp"
#include "command/demo_folder.hpp"
#include "report/demo.hpp"
#include "units/quantity.hpp"

namespace railtap::command {

/// Writes the demo's verification track: the kit's, with shorter parts. \returns its path
[[nodiscard]] std::filesystem::path write_verify_track(const DemoFolder& folder);

/// Verifies every control of two channels, exchanges a swapped pair, switches filters off, and
/// verifies again what was changed. Leaves railtap.verification/1 documents in results/, named
/// CONTROL-verify-found and CONTROL-verify-corrected.
/// \param volume a step at which nothing clips
[[nodiscard]] std::vector<report::DemoVerification> verify_controls(
    const Bench& bench, const DemoFolder& folder, const std::filesystem::path& track, int volume,
    Volts volts_per_full_scale, std::ostream& notes);

}  // namespace railtap::command
