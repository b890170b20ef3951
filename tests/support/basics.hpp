// SPDX-License-Identifier: MIT
// Tolerances that say what they mean, random numbers with fixed seeds, and a folder that goes with
// the test. doctest's default Approx accepts 1e-5 as equal to 0, so a bare Approx is not used on
// levels.
#pragma once

#include <stdlib.h>  // mkdtemp, of POSIX

#include <cmath>
#include <filesystem>
#include <string>

#include "support/random.hpp"

namespace railtap::test {

/// |value − expected| <= tolerance, in the unit of the arguments; false for NaN.
[[nodiscard]] inline bool within_abs(double value, double expected, double tolerance) {
  return std::abs(value - expected) <= tolerance;
}

/// |value/expected − 1| <= tolerance; false for NaN or an expected 0.
[[nodiscard]] inline bool within_rel(double value, double expected, double tolerance) {
  return std::abs(value / expected - 1.0) <= tolerance;
}

/// |20·log10(value/expected)| <= tolerance_db, for amplitudes > 0.
[[nodiscard]] inline bool within_db(double value, double expected, double tolerance_db) {
  return std::abs(20.0 * std::log10(value / expected)) <= tolerance_db;
}

// A folder that a test has for itself.

/// Made on construction, removed with all that is in it on destruction.
class TemporaryFolder {
 public:
  TemporaryFolder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "railtap-test-XXXXXX").string();
    path_ = mkdtemp(pattern.data());
  }
  ~TemporaryFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

}  // namespace railtap::test
