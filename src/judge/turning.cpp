// SPDX-License-Identifier: MIT
// How far over a rail, in words; the secant method, within the ranges that gain controls have.
#include "judge/turning.hpp"

#include <algorithm>
#include <cmath>

#include "units/print.hpp"

namespace railtap::judge {
namespace {

constexpr double usual_range_db = 25.0;
/// A range between these is used; else the two turns were too close together to measure it.
constexpr double least_range_db = 6.0;
constexpr double greatest_range_db = 100.0;

double range_db(const std::vector<Turn>& turns) {
  if (turns.size() < 2) return usual_range_db;
  const Turn& last = turns.back();
  const Turn& before = turns[turns.size() - 2];
  const double moved = last.travel - before.travel;
  const double gained = (before.missing - last.missing).value();
  if (moved == 0.0 || !std::isfinite(gained / moved)) return usual_range_db;
  const double range = gained / moved;
  return range >= least_range_db && range <= greatest_range_db ? range : usual_range_db;
}

}  // namespace

std::string overdrive_text(Decibels over) {
  return over > most_overdrive_told ? "more than " + format_fixed(most_overdrive_told, 0)
                                    : format_fixed(over, 2);
}

double next_travel(const std::vector<Turn>& turns) {
  const Turn& last = turns.back();
  return std::clamp(last.travel + last.missing.value() / range_db(turns), 0.0, 1.0);
}

}  // namespace railtap::judge
