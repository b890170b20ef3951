// SPDX-License-Identifier: MIT
// A whole recording measured as it streams by.
#include "measure/recording.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

constexpr double frame_s = 0.1;  // two cycles of 20 Hz
constexpr double block_s = 1.0;  // a line every hertz, 20 cycles of 20 Hz
constexpr std::size_t head_frames = 5;
// The finest ladder has steps of 0.1 dB; a hard clip, driven 1 dB further, rises by 0.15 dB even at
// 8 dB of overdrive (closed form of the clipped sine). The level of a frame of noise scatters by
// 0.11 dB at 48 kHz, and of music by more.
constexpr double same_tone_level_db = 0.08;
constexpr double same_noise_level_db = 0.7;
// A sine has a crest factor of 3 dB, a clipped one less, noise 11 dB; a tone in noise 20 dB below
// it, 5 dB.
constexpr double most_tonal_crest = 1.8;  // 5.1 dB
constexpr double silence_db =
    -110.0;  // below the noise of any 16-bit capture: all silence is alike
constexpr int reference_frames = 5;
// Screens of like blocks: the noise of a 1 s block is known to about 1 %, so 5 % is a change; an
// extreme of Gaussian noise moves by less than a tenth.
constexpr double like_residual = 0.05;
constexpr double like_level = 0.002;
constexpr double like_extreme = 0.02;
constexpr double screen_floor = 1e-13;  // of the total power: rounding of the sums
// THD+N that doubles or halves, where it is above −60 dB (0.1 %), is another segment.
constexpr double other_character_ratio = 2.0;
constexpr double other_character_least = 1e-6;

// One channel out of interleaved ones; the usual strides have loops of their own, to be vectorised.
RAILTAP_VECTORIZE void gather(const double* from, std::size_t stride, double* to,
                              std::size_t count) {
  if (stride == 2) {
    for (std::size_t n = 0; n < count; ++n) to[n] = from[2 * n];
  } else {
    for (std::size_t n = 0; n < count; ++n) to[n] = from[n * stride];
  }
}

double level_db(double mean_square) {
  return std::max(silence_db, 10.0 * std::log10(mean_square + 1e-30));
}

bool looks_tonal(const FrameFigures& figures) {
  const double half_range = 0.5 * (figures.highest - figures.lowest);
  return half_range < most_tonal_crest * std::sqrt(figures.mean_square_ac());
}

bool like(const ToneScreen& a, const ToneScreen& b) {
  const double total = std::max(a.fundamental + a.residual, b.fundamental + b.residual);
  const double residual = std::max({a.residual, b.residual, screen_floor * total});
  const double peak = std::max({std::abs(b.lowest), std::abs(b.highest), 1e-9});
  return std::abs(a.residual - b.residual) <= like_residual * residual + screen_floor * total &&
         std::abs(a.fundamental - b.fundamental) <= like_level * total &&
         std::abs(a.lowest - b.lowest) <= like_extreme * peak &&
         std::abs(a.highest - b.highest) <= like_extreme * peak;
}

bool other_character(const BlockMeasurement& a, const BlockMeasurement& b) {
  if (a.tone != b.tone) return true;
  if (!a.tone) return false;
  const double ratio_a = a.residual / a.fundamental;
  const double ratio_b = b.residual / b.fundamental;
  const double larger = std::max(ratio_a, ratio_b);
  return larger > other_character_least &&
         larger > other_character_ratio * std::min(ratio_a, ratio_b);
}

// Adds b's lines to a's sums: like frequencies together.
void merge_lines(std::vector<InterferenceLine>& sum, const BlockMeasurement& block, double weight) {
  constexpr double same_line_hz = 2.0;
  for (const auto& line : block.lines) {
    const auto at = std::find_if(sum.begin(), sum.end(), [&](const InterferenceLine& known) {
      return std::abs(known.frequency.value() - line.frequency.value()) < same_line_hz;
    });
    if (at != sum.end()) {
      at->mean_square += weight * line.mean_square;
    } else if (sum.size() < 32) {
      sum.push_back({line.frequency, weight * line.mean_square});
    }
  }
}

// The series of a block, scaled to a fundamental of −j, added with a weight; variances add with its
// square.
void merge_series(HarmonicSeries& sum, const HarmonicSeries& series, double weight) {
  const std::size_t orders =
      sum.phasor.empty() ? series.phasor.size() : std::min(sum.phasor.size(), series.phasor.size());
  sum.phasor.resize(orders);
  sum.sigma.resize(orders);
  const double amplitude = std::abs(series.phasor[0]);
  for (std::size_t k = 0; k < orders; ++k) {
    sum.phasor[k] += weight / amplitude * series.phasor[k];
    const double sigma = weight / amplitude * series.sigma[k];
    sum.sigma[k] += sigma * sigma;
  }
  sum.fundamental += weight * series.fundamental;
}

// Sums (weighted by frames) to means.
void normalise(BlockMeasurement& m) {
  const auto total = static_cast<double>(m.frames);
  if (total <= 0.0) return;
  for (double* value : {&m.dc, &m.explained, &m.fundamental, &m.residual, &m.harmonics, &m.noise,
                        &m.noise_a, &m.narrow_noise}) {
    *value /= total;
  }
  for (auto& line : m.lines) line.mean_square /= total;
  std::sort(m.lines.begin(), m.lines.end(),
            [](const auto& a, const auto& b) { return a.mean_square > b.mean_square; });
  const double amplitude = std::sqrt(2.0 * m.fundamental);
  m.series.fundamental = m.series.fundamental / total;
  for (std::size_t k = 0; k < m.series.phasor.size(); ++k) {
    m.series.phasor[k] *= amplitude / total;
    m.series.sigma[k] = std::sqrt(m.series.sigma[k]) * amplitude / total;
  }
}

}  // namespace

void LineCourse::add(const BlockMeasurement& block, Seconds length) {
  // A line is placed within 0.02 bins in noise, and pulled by others near it (seen).
  constexpr double placed_within_bins = 0.15;
  constexpr Hertz least_step{0.5};
  constexpr double same_line = 0.2;
  constexpr double alike = 4.0;  // 6 dB
  if (block.lines.empty()) {
    *this = {};
    return;
  }
  const InterferenceLine before = last_;
  last_ = block.lines.front();
  const Hertz step(std::abs(last_.frequency.value() - before.frequency.value()));
  const double louder = before.mean_square > 0.0 ? last_.mean_square / before.mean_square : 0.0;
  const bool same = step < same_line * last_.frequency && louder < alike && louder * alike > 1.0;
  if (!same || step < std::max(least_step, Hertz(placed_within_bins / length.value()))) {
    steps_ = 0;
    lowest_ = highest_ = last_.frequency;
    return;
  }
  ++steps_;
  lowest_ = std::min(lowest_, last_.frequency);
  highest_ = std::max(highest_, last_.frequency);
}

bool LineCourse::moves() const {
  constexpr int least_steps = 3;
  constexpr Hertz least_way{3.0};
  return steps_ >= least_steps && highest_ - lowest_ > least_way;
}

ChannelMeter::ChannelMeter(Hertz rate, const RecordingOptions& options)
    : rate_(rate),
      frame_length_(static_cast<std::size_t>(std::lround(frame_s * rate.value()))),
      block_length_(frame_length_ * static_cast<std::size_t>(std::lround(block_s / frame_s))),
      options_(options),
      frame_level_(frame_length_),
      examiner_(rate, options.band),
      moving_(rate),
      follower_(rate),
      interruptions_(rate) {
  if (options.code_step) result_.full_scale.positive_limit = 1.0 - *options.code_step;
  result_.full_scale.exact = !options.code_step;
  samples_.resize(block_length_ + 3 * frame_length_);
  head_.reserve(head_frames * frame_length_);
}

std::span<double> ChannelMeter::frame() {
  const std::size_t first = frame_length_ + confirmed_ + (have_pending_ ? frame_length_ : 0);
  return std::span(samples_).subspan(first, frame_length_);
}

void ChannelMeter::add(const double* first, std::size_t stride, std::size_t count) {
  for (std::size_t n = 0; n < count;) {
    const std::size_t take = std::min(count - n, frame_length_ - frame_fill_);
    gather(first + n * stride, stride, frame().data() + frame_fill_, take);
    n += take;
    frame_fill_ += take;
    if (frame_fill_ == frame_length_) take_frame();
  }
}

bool ChannelMeter::like_segment(double level, bool tonal) const {
  if (open_.level_count == 0) return false;
  const double difference = std::abs(level - open_.level_sum_db / open_.level_count);
  return difference <= (tonal ? same_tone_level_db : same_noise_level_db);
}

void ChannelMeter::take_frame() {
  const auto samples = frame();
  const auto [figures, mean_square] = frame_level_.figures(samples);
  result_.figures.merge(figures);
  result_.full_scale.add(samples, figures);
  result_.flat.add(samples, figures);
  if (head_.size() < head_frames * frame_length_)
    head_.insert(head_.end(), samples.begin(), samples.end());

  const double level = level_db(mean_square);
  const bool usable = figures.non_finite == 0;
  const bool tonal = usable && looks_tonal(figures);
  const double half_range = 0.5 * (figures.highest - figures.lowest);
  moving_.add(samples, level, tonal, half_range);
  follow(samples, level, tonal, half_range);
  const bool like = usable && like_segment(level, tonal);
  if (!usable) {
    note_sound(position_);
    sound_from_ = position_ + static_cast<std::int64_t>(frame_length_);
  }
  if (like) {
    confirm_pending();
    pending_figures_ = figures;
    have_pending_ = true;
    if (open_.level_count < reference_frames) {
      open_.level_sum_db += level;
      ++open_.level_count;
    }
  } else {
    const auto before = samples_.begin();
    close_segment(position_);
    if (usable) {
      std::copy(samples.begin(), samples.end(), before);
    } else {
      std::fill_n(before, frame_length_, 0.0);
    }
    open_.segment.first_frame = position_;
    if (usable) {
      open_.level_sum_db = level;
      open_.level_count = 1;
    }
  }
  // After the segment that this frame may have ended: what interrupts it is not of that segment.
  interruptions_.add(samples, level, half_range, like && tonal, usable);
  position_ += static_cast<std::int64_t>(frame_length_);
  frame_fill_ = 0;
}

// A tone is followed where it does not stand still: a block that was measured tells that it does.
void ChannelMeter::follow(std::span<const double> frame, double level_db, bool tonal,
                          double half_range) {
  constexpr double still_db = 0.02;  // as in MovingLevelMeter
  constexpr int enough_still = 10;   // half a second of them is where a slow beat turns
  // Of what is left without harmonics.
  constexpr double least_share_of_phase = 0.25;
  const bool still = std::abs(level_db - followed_db_) < still_db;
  followed_db_ = level_db;
  still_frames_ = still ? still_frames_ + 1 : 0;
  const BlockMeasurement& last = open_.last;
  const bool in_phase = open_.modulation.phase * last.fundamental <=
                        least_share_of_phase * (last.residual - last.harmonics);
  const bool known = open_.segment.blocks > 0 && last.tone && in_phase;
  if (!tonal || (known && still_frames_ > enough_still)) {
    follower_.skip(frame.size());
  } else {
    follower_.add(frame, half_range);
  }
}

// Ends the stretch of finite samples at hand.
void ChannelMeter::note_sound(std::int64_t end) {
  if (end - sound_from_ <= result_.sound_end - result_.sound_first) return;
  result_.sound_first = sound_from_;
  result_.sound_end = end;
}

// The frame being filled is whole, and becomes the pending one.
void ChannelMeter::confirm_pending() {
  if (!have_pending_) return;
  have_pending_ = false;
  confirmed_ += frame_length_;
  confirmed_figures_.merge(pending_figures_);
  if (confirmed_ < block_length_) return;
  const auto latest = frame();
  take_block(std::span(samples_).first(confirmed_ + 2 * frame_length_), {frame_length_, confirmed_},
             confirmed_figures_);
  // The block's last frame, and the latest.
  std::copy(latest.end() - static_cast<std::ptrdiff_t>(2 * frame_length_), latest.end(),
            samples_.begin());
  confirmed_ = 0;
  confirmed_figures_ = {};
}

void ChannelMeter::take_block(std::span<const double> stream, SampleRange range,
                              const FrameFigures& figures) {
  const auto samples = stream.subspan(range.first, range.length);
  const bool due = open_.segment.blocks >= open_.next_detail;
  // Codes as fine as the file's own can get no finer.
  if (!options_.code_step || code_step_.step() != options_.code_step) code_step_.add(samples);
  if (open_.reference && !due) {
    ToneScreen screen = screener_.screen(samples, figures);
    if (like(screen, *open_.reference)) {
      note_border(stream, range);
      BlockMeasurement block = open_.last;  // all but the level is that of the last measured block
      if (open_.reference->fundamental > 0.0) {
        block.fundamental *= screen.fundamental / open_.reference->fundamental;
      }
      block.frames = samples.size();
      merge(block, figures);
      return;
    }
  }
  const auto near = open_.last.tone ? std::optional(open_.last.series.fundamental) : std::nullopt;
  ExaminedBlock examined = examiner_.examine(stream, range, near);
  BlockMeasurement& block = examined.block;
  if (examined.spoilt) {
    note_disturbances(examined.found);
    open_.segment.figures.merge(figures);
    return;
  }
  if (open_.segment.blocks > 0 && other_character(block, open_.last)) {
    const std::int64_t boundary = block_start();
    const double level_sum = open_.level_sum_db;
    const int level_count = open_.level_count;
    keep_segment(boundary);
    open_ = {};
    open_.segment.first_frame = boundary - static_cast<std::int64_t>(frame_length_);
    open_.level_sum_db = level_sum;
    open_.level_count = level_count;
  }
  if (examined.found.empty() && block.tone) note_border(stream, range);
  note_disturbances(examined.found);
  open_.modulation = examined.modulation;
  open_.taken_out = examined.taken_out;
  open_.course.add(block, Seconds(static_cast<double>(range.length) / rate_.value()));
  screener_.tune(block.tone ? block.series.fundamental.value() / rate_.value() : 0.25);
  open_.reference = screener_.screen(samples, figures);
  open_.last = block;
  if (block.tone) fold(samples, block);
  const int number = open_.segment.blocks + 1;
  open_.next_detail = number < options_.always_measured ? number : 2 * number;
  merge(block, figures);
}

// Where the block at hand begins: the segment's first frame is left out of its blocks, unless the
// recording is too short for that.
std::int64_t ChannelMeter::block_start() const {
  const auto left_out = open_.whole ? 0 : static_cast<std::int64_t>(frame_length_);
  return open_.segment.first_frame + left_out + open_.segment.figures.frames;
}

void ChannelMeter::note_disturbances(std::span<const Disturbance> found) {
  for (Disturbance d : found) {
    d.first_frame += block_start();
    last_disturbed_ = d.first_frame + d.frames;
    result_.disturbances.add(d);
  }
}

// Samples that are missing exactly between two blocks disturb neither of them.
void ChannelMeter::note_border(std::span<const double> stream, SampleRange range) {
  const std::int64_t border = block_start();
  const bool told =
      last_disturbed_ >= 0 && border - last_disturbed_ < static_cast<std::int64_t>(frame_length_);
  if (open_.segment.blocks == 0 || !open_.last.tone || told) return;
  if (!screener_.steps_in_phase(stream, range.first, rate_)) return;
  const Disturbance jump{DisturbanceKind::jump, 0, 0};
  note_disturbances({&jump, 1});
}

void ChannelMeter::fold(std::span<const double> samples, const BlockMeasurement& block) {
  constexpr double sine_after_cosine = 0.25;  // cycles
  fold_.clear();
  fold_.add(samples, block.start_phase / (2.0 * std::numbers::pi) + sine_after_cosine,
            block.series.fundamental / rate_);
}

void ChannelMeter::merge(const BlockMeasurement& block, const FrameFigures& figures) {
  Segment& segment = open_.segment;
  const auto weight = static_cast<double>(block.frames);
  BlockMeasurement& sum = segment.measurement;
  sum.tone = block.tone;
  sum.frames += block.frames;
  sum.dc += weight * block.dc;
  sum.explained += weight * block.explained;
  sum.fundamental += weight * block.fundamental;
  sum.residual += weight * block.residual;
  sum.harmonics += weight * block.harmonics;
  sum.noise += weight * block.noise;
  sum.noise_a += weight * block.noise_a;
  sum.narrow_noise += weight * block.narrow_noise;
  if (block.narrow_noise > 0.0) sum.narrow_frequency = block.narrow_frequency;
  merge_lines(sum.lines, block, weight);
  if (block.tone) merge_series(sum.series, block.series, weight);
  const bool first = segment.blocks == 0;
  open_.lowest_fundamental =
      first ? block.fundamental : std::min(open_.lowest_fundamental, block.fundamental);
  open_.highest_fundamental =
      first ? block.fundamental : std::max(open_.highest_fundamental, block.fundamental);
  segment.modulation.amplitude += weight * open_.modulation.amplitude;
  segment.modulation.phase += weight * open_.modulation.phase;
  segment.taken_out += weight * open_.taken_out;
  segment.figures.merge(figures);
  ++segment.blocks;
}

void ChannelMeter::close_segment(std::int64_t end) {
  // The pending frame may hold the start of the step.
  const std::size_t behind = have_pending_ ? frame_length_ : 0;
  have_pending_ = false;
  if (confirmed_ >= examiner_.shortest_block()) {
    take_block(std::span(samples_).first(frame_length_ + confirmed_ + behind),
               {frame_length_, confirmed_}, confirmed_figures_);
  }
  confirmed_ = 0;
  confirmed_figures_ = {};
  keep_segment(end);
  open_ = {};
}

void ChannelMeter::keep_segment(std::int64_t end) {
  Segment& segment = open_.segment;
  if (segment.blocks == 0) return;
  segment.end_frame = end;
  const auto total = static_cast<double>(segment.measurement.frames);
  segment.modulation.amplitude /= total;
  segment.modulation.phase /= total;
  segment.taken_out /= total;
  if (open_.course.moves()) segment.moving_line = open_.course.frequency();
  normalise(segment.measurement);
  if (segment.measurement.tone && open_.lowest_fundamental > 0.0) {
    segment.level_spread_db =
        10.0 * std::log10(open_.highest_fundamental / open_.lowest_fundamental);
  }
  if (segment.measurement.tone) {
    segment.clip = fit_clipped_sine(segment.measurement.series);
    segment.fold =
        read_fold(fold_.points(), segment.measurement.series.fundamental, segment.clip->coupling);
    segment.agreement = compare(*segment.fold, *segment.clip);
    for (const Disturbance& d : interruptions_.between(
             {segment.first_frame, segment.end_frame, segment.measurement.series.fundamental,
              10.0 * std::log10(segment.measurement.fundamental),
              0.5 * (segment.figures.highest - segment.figures.lowest)})) {
      result_.disturbances.add(d);
    }
  }
  result_.steady_frames += segment.end_frame - segment.first_frame;
  result_.segments.push_back(std::move(segment));
}

void ChannelMeter::begin_again() {
  BlockExaminer examiner = std::move(examiner_);
  *this = ChannelMeter(rate_, options_);
  examiner_ = std::move(examiner);
}

ChannelRecording ChannelMeter::finish() {
  const std::int64_t whole = position_ + static_cast<std::int64_t>(frame_fill_);
  const auto rest = std::span<const double>(frame()).first(frame_fill_);
  const FrameFigures figures = measure::figures(rest);
  result_.figures.merge(figures);
  result_.full_scale.add(rest, figures);
  result_.flat.add(rest, figures);
  if (static_cast<std::size_t>(whole) < head_frames * frame_length_) {
    head_.insert(head_.end(), rest.begin(), rest.end());
    open_ = {};
    open_.whole = true;
    const bool usable =
        head_.size() >= examiner_.shortest_block() && result_.figures.non_finite == 0;
    if (usable) take_block(head_, {0, head_.size()}, result_.figures);
    keep_segment(whole);
  } else {
    close_segment(position_);
    interruptions_.add(rest, level_db(figures.mean_square_ac()),
                       0.5 * (figures.highest - figures.lowest), false, figures.non_finite == 0);
    for (const Disturbance& d : interruptions_.at_the_end()) result_.disturbances.add(d);
  }
  note_sound(figures.non_finite == 0 ? whole : position_);
  result_.moving = moving_.finish();
  result_.followed = follower_.finish();
  result_.code_step = code_step_.step();
  return std::move(result_);
}

RecordingMeter::RecordingMeter(Hertz rate, int channels, const RecordingOptions& options) {
  for (int channel = 0; channel < channels; ++channel) channels_.emplace_back(rate, options);
}

void RecordingMeter::add(std::span<const double> interleaved) {
  const std::size_t stride = channels_.size();
  const std::size_t count = interleaved.size() / stride;
  for (std::size_t channel = 0; channel < stride; ++channel) {
    channels_[channel].add(interleaved.data() + channel, stride, count);
  }
}

std::vector<ChannelRecording> RecordingMeter::finish() {
  std::vector<ChannelRecording> recordings;
  for (auto& channel : channels_) recordings.push_back(channel.finish());
  return recordings;
}

}  // namespace railtap::measure
