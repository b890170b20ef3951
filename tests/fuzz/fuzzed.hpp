// SPDX-License-Identifier: MIT
// What the fuzzers share.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>

#include "units/error.hpp"

namespace railtap::fuzz {

[[nodiscard]] inline std::string_view as_text(const std::uint8_t* data, std::size_t size) {
  return {reinterpret_cast<const char*>(data), size};
}

/// Calls `work`. An Error is the answer to bad input; anything else that is thrown is a finding.
template <class Work>
void expect_error_at_worst(Work&& work) {
  try {
    work();
  } catch (const Error&) {
    return;
  }
}

}  // namespace railtap::fuzz
