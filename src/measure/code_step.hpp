// SPDX-License-Identifier: MIT
// How fine the numbers of a recording really are, whatever the file could hold.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace railtap::measure {

/// Finds the coarsest step 2^−n of which all samples are multiples: a recording of 8 bits stays one
/// in a file of 24, or of floating-point numbers.
class CodeStep {
 public:
  /// \param samples full scale ±1
  void add(std::span<const double> samples);
  /// In full scales; none before a sample that is not 0, and where there is no step of 2^−24 or
  /// more.
  [[nodiscard]] std::optional<double> step() const;

 private:
  std::uint64_t bits_ = 0;  // of all samples in units of 2^−32, together
  bool off_grid_ = false;
};

}  // namespace railtap::measure
