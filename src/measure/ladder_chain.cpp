// SPDX-License-Identifier: MIT
// The best chain of steps by dynamic programming over the stretches of a recording.
#include "measure/ladder_chain.hpp"

#include <algorithm>
#include <cmath>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

constexpr double smallest_rise_db = 0.2;
constexpr double equal_rise_db = 0.12;  // the same number of steps apart
constexpr double share_of_rise = 0.3;   // and never more than this of a rise
constexpr double pause_db = 3.0;        // a pause is lower than the steps beside it
constexpr std::size_t farthest = 24;    // stretches from a step to the next of the chain
constexpr int longest_jump = 8;         // steps that may be left out in a row
constexpr double same_pace = 0.03;      // of a period
constexpr double same_pace_s = 0.015;   // or this
constexpr double on_time = 0.12;        // of a period
constexpr double on_time_s = 0.025;     // or this
constexpr double on_time_paused = 0.4;  // pauses may be of any length
constexpr double least_pause_s = 0.03;
constexpr double usual_share = 0.5;  // of the single rises that follow at the pace
constexpr std::size_t least_links = 3, least_links_unplanned = 6;

// What a link costs, where a stretch that fits gains 1.
constexpr double steps_left_out = 0.6;  // less time than the rise needs: a step was cut out
constexpr double time_put_in = 1.5;     // more time than that
constexpr double each_hole = 0.05;
constexpr double each_hole_unpaced = 0.3;
constexpr double each_passed_over = 1.5;
constexpr double least_length = 0.5;  // of a step, for what may be one

double tolerance_db(double rise_db) {
  return std::min(equal_rise_db, share_of_rise * std::abs(rise_db));
}

// Neighbours, or such with only a pause between them.
bool are_neighbours(const std::vector<Stretch>& all, std::size_t from, std::size_t to) {
  if (to == from + 1) return true;
  const double lower = std::min(all[from].level_db, all[to].level_db);
  return to == from + 2 && all[from + 1].level_db < lower - pause_db;
}

std::vector<double> neighbour_rises(const std::vector<Stretch>& all) {
  std::vector<double> rises;
  for (std::size_t to = 1; to < all.size(); ++to) {
    for (std::size_t from = to >= 2 ? to - 2 : 0; from < to; ++from) {
      if (are_neighbours(all, from, to)) rises.push_back(all[to].level_db - all[from].level_db);
    }
  }
  return rises;
}

// The middle of the densest group of rises; 0 where there are none.
double common_rise(const std::vector<double>& rises) {
  double best = 0.0;
  std::size_t most = 0;
  for (const double candidate : rises) {
    if (std::abs(candidate) < smallest_rise_db) continue;
    std::vector<double> group;
    for (const double rise : rises) {
      if (std::abs(rise - candidate) <= tolerance_db(candidate)) group.push_back(rise);
    }
    if (group.size() <= most) continue;
    most = group.size();
    best = median(group);
  }
  return best;
}

struct Rise {           // by one step
  double time, length;  // to the next start; of the step
};

std::vector<Rise> single_rises(const std::vector<Stretch>& all, double rise_db) {
  std::vector<Rise> result;
  for (std::size_t to = 1; to < all.size(); ++to) {
    for (std::size_t from = to >= 2 ? to - 2 : 0; from < to; ++from) {
      if (!are_neighbours(all, from, to)) continue;
      const double off = all[to].level_db - all[from].level_db - rise_db;
      if (std::abs(off) > tolerance_db(rise_db)) continue;
      // The recording's first stretch may have begun amid the step.
      if (all[from].first > 0.0)
        result.push_back({all[to].first - all[from].first, all[from].length()});
    }
  }
  return result;
}

Pace find_pace(const std::vector<Rise>& rises, double rate) {
  std::vector<double> best_times;
  std::vector<double> best_lengths;
  for (const Rise& candidate : rises) {
    const double near = std::max(same_pace * candidate.time, same_pace_s * rate);
    std::vector<double> times;
    std::vector<double> lengths;
    for (const Rise& rise : rises) {
      if (std::abs(rise.time - candidate.time) > near) continue;
      times.push_back(rise.time);
      lengths.push_back(rise.length);
    }
    if (times.size() <= best_times.size()) continue;
    best_times = times;
    best_lengths = lengths;
  }
  if (best_times.empty()) return {};
  const auto count = static_cast<double>(best_times.size());
  Pace pace{median(best_times), median(best_lengths)};
  constexpr double three_deviations = 3.0 * 1.4826;  // of a median of absolute deviations
  for (double& length : best_lengths) length = std::abs(length - pace.dwell);
  pace.scatter = three_deviations * median(best_lengths);
  pace.regular = best_times.size() >= 2 && count >= usual_share * static_cast<double>(rises.size());
  pace.paused = pace.period - pace.dwell > least_pause_s * rate;
  return pace;
}

class ChainSearch {
 public:
  ChainSearch(const std::vector<Stretch>& all, double rise_db, const Pace& pace, double rate)
      : all_(all), rise_db_(rise_db), pace_(pace), rate_(rate) {}

  std::vector<Link> best() {
    const std::size_t count = all_.size();
    worth_.assign(count, 1.0);
    before_.assign(count, count);
    jump_.assign(count, 0);
    for (std::size_t to = 1; to < count; ++to) {
      for (std::size_t from = to > farthest ? to - farthest : 0; from < to; ++from) link(from, to);
    }
    return backwards_from(
        static_cast<std::size_t>(std::max_element(worth_.begin(), worth_.end()) - worth_.begin()));
  }

 private:
  void link(std::size_t from, std::size_t to) {
    const double rise = all_[to].level_db - all_[from].level_db;
    const double jump = std::round(rise / rise_db_);
    if (jump < 1.0 || jump > longest_jump) return;
    if (std::abs(rise - jump * rise_db_) > tolerance_db(rise_db_)) return;
    const double worth = worth_[from] + 1.0 - cost(from, to, jump) - passed_over(from, to, jump);
    if (worth <= worth_[to]) return;
    worth_[to] = worth;
    before_[to] = from;
    jump_[to] = static_cast<int>(jump);
  }

  [[nodiscard]] double cost(std::size_t from, std::size_t to, double jump) const {
    if (!pace_.regular) return each_hole_unpaced * (jump - 1.0);
    const double late = periods_between(all_[from], all_[to], pace_) - jump;
    const double near =
        pace_.paused ? on_time_paused : std::max(on_time, on_time_s * rate_ / pace_.period);
    const double hole = each_hole * (jump - 1.0);
    if (std::abs(late) <= near) return hole;
    return hole + (late < 0.0 ? steps_left_out : time_put_in);
  }

  // Steps in between that would have to be something else.
  [[nodiscard]] double passed_over(std::size_t from, std::size_t to, double jump) const {
    const double softer = std::min(all_[from].level_db, all_[to].level_db) - pause_db;
    double steps = 0.0;
    for (std::size_t i = from + 1; i < to; ++i) {
      const bool is_step =
          all_[i].level_db > softer && all_[i].length() > least_length * pace_.dwell;
      steps += is_step ? 1.0 : 0.0;
    }
    return each_passed_over * std::max(0.0, steps - (jump - 1.0));
  }

  [[nodiscard]] std::vector<Link> backwards_from(std::size_t last) const {
    std::vector<std::size_t> chain{last};
    while (before_[chain.back()] < all_.size()) chain.push_back(before_[chain.back()]);
    std::reverse(chain.begin(), chain.end());
    std::vector<Link> links{{chain.front(), 0}};
    for (std::size_t i = 1; i < chain.size(); ++i)
      links.push_back({chain[i], links.back().index + jump_[chain[i]]});
    return links;
  }

  const std::vector<Stretch>& all_;
  double rise_db_;
  Pace pace_;
  double rate_;
  std::vector<double> worth_;
  std::vector<std::size_t> before_;
  std::vector<int> jump_;
};

// The period by least squares over the longest run of links without holes.
double refined_period(const std::vector<Stretch>& all, const LadderChain& chain) {
  double best = chain.pace.period;
  std::size_t longest = 2;
  std::size_t first = 0;
  for (std::size_t i = 1; i <= chain.links.size(); ++i) {
    const bool runs_on = i < chain.links.size() &&
                         chain.links[i].index == chain.links[i - 1].index + 1 &&
                         std::abs(periods_between(all[chain.links[i - 1].stretch],
                                                  all[chain.links[i].stretch], chain.pace) -
                                  1.0) < on_time;
    if (runs_on) continue;
    const std::size_t count = i - first;
    if (count > longest) {
      longest = count;
      double cross = 0.0;
      double square = 0.0;
      const double middle = 0.5 * static_cast<double>(count - 1);
      for (std::size_t k = 0; k < count; ++k) {
        const double x = static_cast<double>(k) - middle;
        cross += x * start_of(all[chain.links[first + k].stretch], chain.pace);
        square += x * x;
      }
      best = cross / square;
    }
    first = i;
  }
  return best;
}

}  // namespace

double start_of(const Stretch& stretch, const Pace& pace) {
  return stretch.first > 0.0 ? stretch.first : std::min(0.0, stretch.end - pace.dwell);
}

double periods_between(const Stretch& from, const Stretch& to, const Pace& pace) {
  return (to.first - start_of(from, pace)) / pace.period;
}

std::optional<LadderChain> find_chain(const std::vector<Stretch>& stretches,
                                      std::optional<double> rise_db, Hertz rate) {
  LadderChain chain;
  chain.rise_db = rise_db ? *rise_db : common_rise(neighbour_rises(stretches));
  if (chain.rise_db == 0.0) return std::nullopt;
  const auto rises = single_rises(stretches, chain.rise_db);
  if (rises.empty()) return std::nullopt;
  chain.pace = find_pace(rises, rate.value());
  if (!rise_db && !chain.pace.regular) return std::nullopt;
  chain.links = ChainSearch(stretches, chain.rise_db, chain.pace, rate.value()).best();
  if (chain.links.size() < (rise_db ? least_links : least_links_unplanned)) return std::nullopt;
  if (chain.pace.regular) chain.pace.period = refined_period(stretches, chain);
  return chain;
}

}  // namespace railtap::measure
