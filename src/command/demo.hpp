// SPDX-License-Identifier: MIT
// The demo: the whole job, as a person would do it at a car, on a bench.
#pragma once

#include <iosfwd>

#include "command/demo_bench.hpp"
#include "report/demo.hpp"

namespace railtap::command {

/// Tones, calibration, the head unit's limit, every gain, and a last look. All that it decides
/// comes from recordings and meter readings; all files go into the folder. \throws Error where a
/// step cannot be done, Interrupted
[[nodiscard]] report::DemoDocument run_demo(const Bench& bench, const DemoFolder& folder,
                                            std::ostream& notes);

}  // namespace railtap::command
