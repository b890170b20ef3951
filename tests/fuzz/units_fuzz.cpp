// SPDX-License-Identifier: MIT
// Fuzzes the reading of quantities: any text is a number with a unit or an Error, and what is
// printed is read back as the same number.
#include <cmath>
#include <cstdlib>
#include <limits>

#include "fuzz/fuzzed.hpp"
#include "units/parse.hpp"
#include "units/print.hpp"

namespace {

using namespace railtap;

constexpr double printed_digits_tolerance = 1e-2;  // three significant digits are printed at least

template <class Q>
void read_and_print(std::string_view text) {
  fuzz::expect_error_at_worst([&] {
    const Q quantity = parse_quantity<Q>(text, "--value");
    const double value = quantity.value();
    if (!std::isfinite(value)) std::abort();
    const Q again = parse_quantity<Q>(format_quantity(quantity), "--value");
    const double scale = std::max(std::abs(value), std::numeric_limits<double>::min());
    if (std::abs(again.value() - value) > printed_digits_tolerance * scale) std::abort();
  });
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto text = railtap::fuzz::as_text(data, size);
  read_and_print<Volts>(text);
  read_and_print<Watts>(text);
  read_and_print<Ohms>(text);
  read_and_print<Hertz>(text);
  read_and_print<Seconds>(text);
  read_and_print<Farads>(text);
  return 0;
}
