// SPDX-License-Identifier: MIT
// How each unit is spelled, which prefixes it takes, and what an example of it looks like.
#include "units/unit_table.hpp"

#include <array>

namespace railtap::units {
namespace {

using Spelling = std::string_view;

// As meters and plates have them: 14.1VAC, 55Wrms.
constexpr std::array<Spelling, 16> volt_words{
    "v",        "volt",    "volts",    "vrms", "v rms", "volts rms", "vac",  "v ac",
    "volts ac", "vac rms", "v ac rms", "v~",   "v ~",   "vdc",       "v dc", "volts dc"};
constexpr std::array<Spelling, 7> watt_words{"w",     "watt",      "watts",   "wrms",
                                             "w rms", "watts rms", "watt rms"};
// U+03A9 and U+2126 look the same; "R" is how resistors are marked [IEC 60062].
constexpr std::array<Spelling, 6> ohm_words{"ohm", "ohms", "\u03a9", "\u2126", "\u03c9", "r"};
constexpr std::array<Spelling, 5> ampere_words{"a", "amp", "amps", "ampere", "amperes"};
constexpr std::array<Spelling, 3> farad_words{"f", "farad", "farads"};
constexpr std::array<Spelling, 2> hertz_words{"hz", "hertz"};
constexpr std::array<Spelling, 4> second_words{"s", "sec", "second", "seconds"};
constexpr std::array<Spelling, 5> metre_words{"m", "metre", "metres", "meter", "meters"};
constexpr std::array<Spelling, 4> square_millimetre_words{"mm2", "mm\u00b2", "mm^2", "sqmm"};
constexpr std::array<Spelling, 2> percent_words{"%", "percent"};
constexpr std::array<Spelling, 1> decibel_words{"db"};
// A level below full scale is commonly written as plain dB.
constexpr std::array<Spelling, 2> dbfs_words{"dbfs", "db"};

// Where in the table a quantity is: Volts_row and so on.
enum Row {
#define RAILTAP_ROW(Q) Q##_row,
  RAILTAP_FOR_EACH_QUANTITY(RAILTAP_ROW)
#undef RAILTAP_ROW
      row_count
};

// Megavolts, kilofarads and the like are typing mistakes here, so those prefixes are left out;
// watts are printed without kilo because nobody in the trade writes 1.5 kW on an amplifier.
constexpr std::array<UnitInfo, row_count> table{{
    {"volts", "V", "14.2V", volt_words, "numk", "num", "", 1e6},
    {"watts", "W", "55W", watt_words, "numk", "num", "", 1e6},
    {"ohms", "ohm", "4ohm", ohm_words, "mkM", "mkM", "kM", 1e9},
    {"amperes", "A", "20A", ampere_words, "num", "num", "", 1e6},
    {"farads", "F", "10uF", farad_words, "pnum", "pnu", "pnu", 1e3},
    {"hertz", "Hz", "50Hz", hertz_words, "kM", "kM", "k", 1e9},
    {"seconds", "s", "0.5s", second_words, "num", "num", "", 1e9},
    {"metres", "m", "3m", metre_words, "mck", "", "", 1e6},
    {"square millimetres", "mm2", "16mm2", square_millimetre_words, "", "", "", 1e6},
    {"percent", "%", "1%", percent_words, "", "", "", 1e6},
    {"decibels", "dB", "-5dB", decibel_words, "", "", "", 1e4},
    {"dBFS", "dBFS", "-5dBFS", dbfs_words, "", "", "", 1e4},
}};

}  // namespace

std::span<const UnitInfo> all_units() {
  return table;
}

int prefix_exponent(char prefix) {
  switch (prefix) {
    case 'p':
      return -12;
    case 'n':
      return -9;
    case 'u':
      return -6;
    case 'm':
      return -3;
    case 'c':
      return -2;
    case 'k':
      return 3;
    case 'M':
      return 6;
    default:
      return 0;
  }
}

#define RAILTAP_UNIT_INFO(Q)       \
  template <>                      \
  const UnitInfo& unit_info<Q>() { \
    return table[Q##_row];         \
  }
RAILTAP_FOR_EACH_QUANTITY(RAILTAP_UNIT_INFO)
#undef RAILTAP_UNIT_INFO

}  // namespace railtap::units
