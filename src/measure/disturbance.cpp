// SPDX-License-Identifier: MIT
// Gaps, clicks and missing samples in a tone, short or so long that its level shows them: where
// they are, and the tone measured without them.
#include "measure/disturbance.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "measure/frame.hpp"
#include "measure/kernels.hpp"
#include "measure/moving_tone.hpp"

namespace railtap::measure {

// Gaps, clicks and missing samples in a tone.

namespace {

constexpr double cell_s = 0.001;
// A residual of less than 0.1 % of the tone is not looked into.
constexpr double least_residual = 1e-6;
// Cells of noise hold within a factor of two of their median, of hum or a beat within four.
constexpr double over_median = 16.0;
constexpr double over_neighbours = 6.0;
// Neighbours lie this far away or more, in whole cycles: a click with what follows it is shorter.
constexpr double neighbour_s = 0.01;
constexpr std::size_t grown_cells = 3;
// More than this of a block is no interruption.
constexpr double most_flagged = 0.25;
constexpr double least_energy_share = 0.3;
// What is mended once still pulls the fit, and its harmonics most of all, where the block has few
// cycles: mended again until little changes.
constexpr int most_rounds = 6;
constexpr double settled = 0.9;
// Cells of one click that are as quiet as the rest, between its own ringing.
constexpr std::size_t joined_cells = 3;
// A stretch has to leave this much less than the whole block did.
constexpr double clearly_less = 0.25;
// A tone that breaks more often in a second is not interrupted, it is another thing.
constexpr std::size_t most_breaks = 4;
constexpr double clean_residual = 1e-3;
// Of the power, that a tone which breaks off somewhere still explains.
constexpr double least_explained = 0.1;
constexpr double most_tonal_crest = 1.8;  // as in recording.cpp: a tone in noise 20 dB below it

double not_harmonic(const BlockMeasurement& block) {
  return std::max(0.0, block.residual - block.harmonics);
}

double mean_square(std::span<const double> samples) {
  return figures(samples).sum_of_squares / static_cast<double>(samples.size());
}

bool any_phase_step(const std::vector<ToneBreak>& breaks) {
  return std::any_of(breaks.begin(), breaks.end(), [](const auto& b) { return b.phase_step; });
}

bool looks_tonal(std::span<const double> samples) {
  const FrameFigures f = figures(samples);
  return f.non_finite == 0 &&
         0.5 * (f.highest - f.lowest) < most_tonal_crest * std::sqrt(f.mean_square_ac());
}

}  // namespace

void FoundDisturbances::add(const Disturbance& found) {
  switch (found.kind) {
    case DisturbanceKind::gap:
      ++gaps;
      break;
    case DisturbanceKind::click:
      ++clicks;
      break;
    case DisturbanceKind::jump:
      ++jumps;
      break;
  }
  if (listed.size() < most_listed) listed.push_back(found);
}

SampleRange longest_quiet(std::span<const double> samples, double peak, Hertz rate) {
  constexpr double quiet_share = 0.02;
  constexpr double least_s = 0.0006;
  SampleRange best;
  SampleRange run;
  for (std::size_t n = 0; n < samples.size(); ++n) {
    if (std::abs(samples[n]) >= quiet_share * peak) {
      run.length = 0;
      continue;
    }
    if (run.length == 0) run.first = n;
    if (++run.length > best.length) best = run;
  }
  if (static_cast<double>(best.length) < least_s * rate.value()) return {};
  return best;
}

BlockExaminer::BlockExaminer(Hertz rate, Band band)
    : rate_(rate),
      cell_(static_cast<std::size_t>(std::max(1L, std::lround(cell_s * rate.value())))),
      meter_(rate, band) {}

// Cells whose energy neither the median nor the same places of other cycles account for.
void BlockExaminer::flag_cells(const BlockMeasurement& block) {
  const std::size_t cells = energy_.size();
  flagged_.assign(cells, 0);
  if (cells < 3) return;
  const double middle = median(energy_);
  // What recurs with the tone, or with the mains, is no interruption.
  const double hz = block.series.fundamental.value();
  const std::array<double, 3> periods{std::ceil(neighbour_s * hz) / hz, 1.0 / 50.0, 1.0 / 60.0};
  const auto around = [&](std::size_t at) {
    const std::size_t first = at > 0 ? at - 1 : 0;
    return *std::max_element(
        energy_.begin() + static_cast<std::ptrdiff_t>(first),
        energy_.begin() + static_cast<std::ptrdiff_t>(std::min(at + 2, cells)));
  };
  for (std::size_t i = 0; i < cells; ++i) {
    if (energy_[i] <= over_median * middle) continue;
    double neighbours = 0.0;
    for (const double period : periods) {
      const auto shift = static_cast<std::size_t>(
          std::lround(period * rate_.value() / static_cast<double>(cell_)));
      double least = 1e300;
      if (i >= shift) least = around(i - shift);
      if (i + shift < cells) least = std::min(least, around(i + shift));
      if (least < 1e300) neighbours = std::max(neighbours, least);
    }
    if (energy_[i] > over_neighbours * neighbours) flagged_[i] = 1;
  }
  const std::vector<char> seeds = flagged_;
  for (std::size_t i = 0; i < cells; ++i) {
    if (seeds[i] == 0) continue;
    for (std::size_t step = 1; step <= grown_cells; ++step) {
      if (i + step < cells && energy_[i + step] > over_median * middle) flagged_[i + step] = 1;
      if (i >= step && energy_[i - step] > over_median * middle) flagged_[i - step] = 1;
    }
  }
}

double BlockExaminer::flagged_share() const {
  const auto count = std::count(flagged_.begin(), flagged_.end(), 1);
  return static_cast<double>(count) /
         static_cast<double>(std::max<std::size_t>(flagged_.size(), 1));
}

// One disturbance for each run of flagged cells.
void BlockExaminer::collect(std::span<const double> samples, double amplitude,
                            ExaminedBlock& result) const {
  for (std::size_t i = 0; i < flagged_.size();) {
    if (flagged_[i] == 0) {
      ++i;
      continue;
    }
    std::size_t end = i;
    for (std::size_t next = i; next < std::min(end + joined_cells, flagged_.size()); ++next)
      if (flagged_[next] != 0) end = next + 1;
    const std::size_t first = i > 0 ? (i - 1) * cell_ : 0;
    const std::size_t length = std::min((end + 1) * cell_, samples.size()) - first;
    const SampleRange quiet = longest_quiet(samples.subspan(first, length), amplitude, rate_);
    if (quiet.length > 0) {
      result.found.push_back({DisturbanceKind::gap, static_cast<std::int64_t>(first + quiet.first),
                              static_cast<std::int64_t>(quiet.length)});
    } else {
      result.found.push_back({DisturbanceKind::click, static_cast<std::int64_t>(i * cell_),
                              static_cast<std::int64_t>((end - i) * cell_)});
    }
    i = end;
  }
}

void BlockExaminer::follow(std::span<const double> stream, SampleRange range,
                           const BlockMeasurement& block) {
  breaks_.clear();
  even_ = {};
  const auto hz = frequency_of(stream.subspan(range.first, range.length), block);
  if (!hz) return;
  track_.follow(stream, *hz / rate_, range);
  even_ = track_.longest_even(breaks_);
  even_.first -= std::min(even_.first, range.first);
  for (ToneBreak& b : breaks_) b.at -= range.first;
}

// Energy of the last residual, cell by cell, and which cells are disturbed. \returns their share of
// the energy
double BlockExaminer::look_in_time(const BlockMeasurement& block) {
  const auto residual = meter_.time_residual();
  energy_.resize(residual.size() / cell_);
  double all = 0.0;
  for (std::size_t i = 0; i < energy_.size(); ++i) {
    energy_[i] = figures(residual.subspan(i * cell_, cell_)).sum_of_squares;
    all += energy_[i];
  }
  flag_cells(block);
  double flagged = 0.0;
  for (std::size_t i = 0; i < energy_.size(); ++i) flagged += flagged_[i] != 0 ? energy_[i] : 0.0;
  return all > 0.0 ? flagged / all : 0.0;
}

// Puts the fitted tone in the place of what is disturbed.
void BlockExaminer::replace_flagged() {
  const auto residual = meter_.time_residual();
  for (std::size_t i = 0; i < flagged_.size(); ++i) {
    const bool beside =
        (i > 0 && flagged_[i - 1] != 0) || (i + 1 < flagged_.size() && flagged_[i + 1] != 0);
    if (flagged_[i] == 0 && !beside) continue;
    for (std::size_t n = i * cell_; n < (i + 1) * cell_; ++n) mended_[n] -= residual[n];
  }
}

bool BlockExaminer::mend_in_time(std::span<const double> samples, double before,
                                 ExaminedBlock& result) {
  if (const double share = flagged_share(); share <= 0.0 || share > most_flagged) return false;
  BlockMeasurement block = result.block;
  mended_.assign(samples.begin(), samples.end());
  double after = before;
  for (int round = 0; round < most_rounds; ++round) {
    replace_flagged();
    block = meter_.measure(mended_, block.series.fundamental);
    if (!block.tone) return false;
    const double last = after;
    after = mean_square(meter_.time_residual());
    if (after > settled * last) break;
  }
  if (after > (1.0 - least_energy_share) * before) return false;
  collect(samples, std::sqrt(2.0 * block.fundamental), result);
  result.taken_out = before - after;
  result.block = std::move(block);
  return true;
}

std::optional<Hertz> BlockExaminer::frequency_of(std::span<const double> samples,
                                                 const BlockMeasurement& block) {
  if (block.tone) return block.series.fundamental;
  if (block.explained < least_explained || !looks_tonal(samples)) return std::nullopt;
  // A part of the block may be whole.
  constexpr std::size_t parts = 4;
  const std::size_t length = std::max(samples.size() / parts, shortest_block());
  for (std::size_t first = 0; first + length <= samples.size(); first += length) {
    const BlockMeasurement part = meter_.measure(samples.subspan(first, length));
    if (part.tone && not_harmonic(part) < 0.01 * part.fundamental) return part.series.fundamental;
  }
  return std::nullopt;
}

bool BlockExaminer::mend_in_phase(std::span<const double> samples, ExaminedBlock& result) {
  if (breaks_.empty() || breaks_.size() > most_breaks || even_.length < shortest_block())
    return false;
  BlockMeasurement block = meter_.measure(samples.subspan(even_.first, even_.length));
  if (!block.tone) return false;
  const double left = not_harmonic(block) / block.fundamental;
  // Of what is no tone as a whole, a stretch has to be a clean one, and the most of it, but for the
  // slices at the break: in a drum's beat, or in music, some stretch is always nearly a tone.
  const bool better =
      result.block.tone
          ? left < clearly_less * not_harmonic(result.block) / result.block.fundamental
          : left < clean_residual && any_phase_step(breaks_) &&
                2 * (even_.length + track_.slice_length()) > samples.size();
  if (!better) return false;
  if (result.block.tone)
    result.taken_out = std::max(0.0, not_harmonic(result.block) - not_harmonic(block));
  note_breaks(samples, std::sqrt(2.0 * block.fundamental), result);
  // The phase at the block's first sample, not at the stretch's.
  const double cycles = block.series.fundamental / rate_ * static_cast<double>(even_.first);
  block.start_phase =
      std::remainder(block.start_phase - 2.0 * std::numbers::pi * cycles, 2.0 * std::numbers::pi);
  result.block = std::move(block);
  return true;
}

// A break where the tone is gone is a gap, else the tone goes on with another phase.
void BlockExaminer::note_breaks(std::span<const double> samples, double amplitude,
                                ExaminedBlock& result) const {
  const std::size_t reach = 2 * track_.slice_length();
  for (const auto& [at, around, phase_step] : breaks_) {
    const std::size_t first = at > reach ? at - reach : 0;
    const std::size_t length = std::min(2 * reach, samples.size() - first);
    const SampleRange quiet = longest_quiet(samples.subspan(first, length), amplitude, rate_);
    const bool gap = quiet.length > 0;
    result.found.push_back({gap ? DisturbanceKind::gap : DisturbanceKind::jump,
                            static_cast<std::int64_t>(gap ? first + quiet.first : at),
                            static_cast<std::int64_t>(quiet.length)});
  }
}

ExaminedBlock BlockExaminer::examine(std::span<const double> stream, SampleRange range,
                                     std::optional<Hertz> near) {
  const auto samples = stream.subspan(range.first, range.length);
  ExaminedBlock result;
  result.block = meter_.measure(samples, near);
  const double left = mean_square(meter_.time_residual());
  bool disturbed = false;
  if (result.block.tone) {
    if (left <= least_residual * result.block.fundamental) return result;
    disturbed = look_in_time(result.block) > least_energy_share;
    // At a low tone, what the residual holds can be the orders that are not fitted.
    if (!disturbed && not_harmonic(result.block) <= least_residual * result.block.fundamental)
      return result;
  }
  follow(stream, range, result.block);
  const bool steps = any_phase_step(breaks_);
  bool mended = disturbed && !steps && mend_in_time(samples, left, result);
  if (!mended) mended = mend_in_phase(samples, result);
  if (!mended && disturbed && steps) {
    // Clicks beside one another can look like a step.
    (void)meter_.measure(samples, result.block.series.fundamental);
    mended = mend_in_time(samples, left, result);
  }
  result.block.frames = samples.size();
  if (!mended && steps && breaks_.size() <= most_breaks &&
      even_.length < std::max(shortest_block(), samples.size() / 2)) {
    result.spoilt = true;
    note_breaks(samples, std::sqrt(2.0 * result.block.fundamental), result);
  }
  if (!mended && result.block.tone && track_.slices() > 0) result.modulation = track_.modulation();
  return result;
}

// What breaks a steady tone off, and lets it go on as before.

namespace {

constexpr double quiet_share = 0.02;  // as longest_quiet has it
constexpr double least_s = 0.0006;
constexpr double longest_s = 0.5;
constexpr double same_frequency = 1e-3;
constexpr double same_level_db = 0.05;
constexpr double same_peak = 0.02;
// Frames that a step, or a gap, leaves without a block: less than three between two gaps, and one
// on either side.
constexpr double frames_s = 0.4;
constexpr double opening_s = 1.0;
constexpr double heard_share = 0.5;
constexpr double returned_share = 0.02;
constexpr double higher = 1.02;   // a click stands above the tone
constexpr double lower_db = 0.5;  // missing samples hardly move the level
constexpr std::size_t most_gaps = 1000;

}  // namespace

// Before anything is steady, the loudest so far is taken for the tone; what is found by it counts
// only if the tone turns out to have that peak.
void InterruptionFinder::open(double half_range) {
  if (static_cast<double>(position_) > opening_s * rate_.value()) {
    tone_peak_ = 0.0;
    return;
  }
  if (half_range <= higher * tone_peak_) return;
  tone_peak_ = half_range;
  heard_ = false;
  quiet_length_ = 0;
  gaps_.clear();
}

void InterruptionFinder::scan(std::span<const double> frame, std::int64_t first) {
  const auto least = static_cast<std::int64_t>(least_s * rate_.value());
  const auto longest = static_cast<std::int64_t>(longest_s * rate_.value());
  std::size_t returned = 0;
  for (std::size_t n = 0; n < frame.size(); ++n) {
    if (std::abs(frame[n]) < quiet_share * tone_peak_) {
      if (quiet_length_ == 0) quiet_first_ = first + static_cast<std::int64_t>(n);
      ++quiet_length_;
      continue;
    }
    if (quiet_length_ >= least && quiet_length_ <= longest && heard_ && gaps_.size() < most_gaps) {
      gaps_.push_back({DisturbanceKind::gap, quiet_first_, quiet_length_});
      peak_before_gap_ = tone_peak_;
      returned = n;
    }
    quiet_length_ = 0;
    heard_ = heard_ || std::abs(frame[n]) > heard_share * tone_peak_;
  }
  if (quiet_length_ > longest) tone_peak_ = 0.0;
  if (!gaps_.empty()) note_return(frame.subspan(returned));
}

// What a whole cycle or more behind the last gap holds.
void InterruptionFinder::note_return(std::span<const double> samples) {
  if (!last_ || static_cast<double>(samples.size()) * (last_->frequency / rate_) < 1.0) return;
  const auto [low, high] = std::minmax_element(samples.begin(), samples.end());
  returned_peak_ = 0.5 * (*high - *low);
  returned_hz_ = frequency_by_crossings(samples, returned_peak_, rate_);
}

void InterruptionFinder::add(std::span<const double> frame, double level_db, double half_range,
                             bool steady, bool usable) {
  const std::int64_t first = position_;
  position_ += static_cast<std::int64_t>(frame.size());
  if (steady) {
    anything_steady_ = true;
    // In silence that is as steady, the tone is still the one before. A sine that passes zero where
    // a frame ends is not silent.
    if (static_cast<double>(quiet_length_) < least_s * rate_.value()) {
      quiet_length_ = 0;
      tone_peak_ = half_range;
      heard_ = true;
      quiet_tail_ = 0;
      const double quiet = quiet_share * tone_peak_;
      for (std::size_t n = frame.size(); n > 0 && std::abs(frame[n - 1]) < quiet; --n)
        ++quiet_tail_;
      if (!gaps_.empty()) note_return(frame);
      return;
    }
  } else {
    highest_since_ = std::max(highest_since_, half_range);
    lowest_since_db_ = std::min(lowest_since_db_, level_db);
    if (!anything_steady_ && usable) open(half_range);
    quiet_length_ = std::max(quiet_length_, quiet_tail_);
    if (quiet_tail_ > 0) quiet_first_ = first - quiet_tail_;
    quiet_tail_ = 0;
  }
  if (usable && tone_peak_ > 0.0) scan(frame, first);
  if (!usable) quiet_length_ = 0;
}

std::vector<Disturbance> InterruptionFinder::between(const SteadyTone& tone) {
  std::vector<Disturbance> found = std::move(gaps_);
  gaps_.clear();
  const double highest = highest_since_;
  const double lowest_db = lowest_since_db_;
  highest_since_ = 0.0;
  lowest_since_db_ = 0.0;
  const std::optional<SteadyTone> before = last_;
  last_ = tone;
  if (!before) {
    if (std::abs(peak_before_gap_ / tone.peak - 1.0) < same_peak) return found;
    return {};
  }
  const std::int64_t apart = tone.first_frame - before->end_frame;
  std::erase_if(found, [&](const Disturbance& d) { return d.first_frame < before->first_frame; });
  double most_s = longest_s + frames_s;
  for (const Disturbance& gap : found)
    most_s += frames_s + static_cast<double>(gap.frames) / rate_.value();
  const bool same = std::abs(tone.frequency / before->frequency - 1.0) < same_frequency &&
                    std::abs(tone.level_db - before->level_db) < same_level_db &&
                    static_cast<double>(apart) <= most_s * rate_.value();
  if (!same) return {};
  // Segments that only differ in character lie over one another: nothing is between them.
  if (!found.empty() || apart <= 0) return found;
  auto kind = DisturbanceKind::jump;
  if (lowest_db < tone.level_db - lower_db) kind = DisturbanceKind::gap;
  if (highest > higher * before->peak) kind = DisturbanceKind::click;
  return {{kind, before->end_frame, apart}};
}

std::vector<Disturbance> InterruptionFinder::at_the_end() const {
  if (!last_ || gaps_.empty() || gaps_.front().first_frame < last_->first_frame) return {};
  const bool same =
      std::abs(returned_peak_ / last_->peak - 1.0) < same_peak &&
      (!returned_hz_ || std::abs(*returned_hz_ / last_->frequency - 1.0) < returned_share);
  return same ? gaps_ : std::vector<Disturbance>{};
}

}  // namespace railtap::measure
