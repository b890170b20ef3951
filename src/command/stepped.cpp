// SPDX-License-Identifier: MIT
// A recording of rising levels read from its file, its steps found and measured.
#include "command/stepped.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <string>

#include "audio/sound_file.hpp"
#include "audio/stream.hpp"
#include "files/atomic_file.hpp"
#include "judge/ladder_gaps.hpp"
#include "measure/level_stretches.hpp"
#include "measure/marker.hpp"
#include "measure/steps.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

using measure::LevelTrack;
using measure::Step;
using By = report::StepsFound::By;

// A ladder that a marker announces, and the sample at which it starts.
struct Announced {
  signal::LevelLadder ladder;
  double first = 0.0;
};

// Everything that the first reading gathers of one channel.
class Listener {
 public:
  explicit Listener(Hertz rate)
      : tracker_(rate),
        finders_{measure::MarkerFinder(signal::MarkerBand::mid, rate),
                 measure::MarkerFinder(signal::MarkerBand::low, rate)} {}

  void add(const double* first, std::size_t stride, std::size_t count) {
    tracker_.add(first, stride, count);
    for (auto& finder : finders_) finder.add(first, stride, count);
  }

  [[nodiscard]] LevelTrack track() { return tracker_.finish(); }

  // The first ladder that is announced.
  [[nodiscard]] std::optional<Announced> announced() {
    std::optional<Announced> result;
    for (auto& finder : finders_) {
      for (const auto& marker : finder.finish()) {
        const auto* ladder = std::get_if<signal::LevelLadder>(&marker.announced);
        if (ladder == nullptr || (result && result->first <= marker.signal_frame)) continue;
        result = Announced{*ladder, marker.signal_frame};
      }
    }
    return result;
  }

 private:
  measure::LevelTracker tracker_;
  std::array<measure::MarkerFinder, 2> finders_;
};

struct Heard {
  std::vector<LevelTrack> tracks;
  std::optional<Announced> announced;  // in any channel; all are recorded together
  std::int64_t frames = 0;
};

Heard hear(const audio::Source& source) {
  const auto channels = static_cast<std::size_t>(source.format.channels);
  std::vector<Listener> listeners(channels, Listener(source.format.rate));
  Heard heard;
  heard.frames = audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    for (std::size_t c = 0; c < channels; ++c) {
      listeners[c].add(block.data() + c, channels, block.size() / channels);
    }
    return true;
  });
  for (auto& listener : listeners) {
    heard.tracks.push_back(listener.track());
    const auto announced = listener.announced();
    if (announced && !heard.announced) heard.announced = announced;
  }
  return heard;
}

// What was found in one channel, before it is measured.
struct Located {
  std::vector<Step> steps;
  std::optional<Hertz> tone;  // of a level that is turned
  std::optional<judge::LadderInput> input;
  std::optional<measure::AlignedLadder> ladder;
  int planned = 0;
  report::StepsFound found;
};

void describe_ladder(Located& located, const measure::AlignedLadder& ladder, double rise_db,
                     Hertz rate) {
  located.found.rise = Decibels(rise_db);
  located.found.start = Seconds(ladder.first / rate.value());
  located.found.dwell = Seconds(ladder.dwell / rate.value());
  if (ladder.regular) located.found.pause = Seconds((ladder.period - ladder.dwell) / rate.value());
}

// A generator's step is a round number; what was measured is it within the noise.
double round_rise(double rise_db) {
  constexpr double unit_db = 0.05;
  constexpr double close_db = 0.02;
  const double rounded = unit_db * std::round(rise_db / unit_db);
  return std::abs(rounded - rise_db) <= close_db && rounded != 0.0 ? rounded : rise_db;
}

// Whether the level mostly moves where a ladder was found: it has no steps then, whatever regular
// pieces it can be cut into. What lies before and behind is not asked; the noise there moves, too.
bool moves(const std::vector<Step>& pieces, const measure::AlignedLadder& ladder) {
  if (ladder.steps.empty()) return true;
  std::ptrdiff_t within = 0;
  std::ptrdiff_t gliding = 0;
  for (const Step& piece : pieces) {
    if (piece.end <= ladder.steps.front().first || piece.first >= ladder.steps.back().end) continue;
    ++within;
    if (piece.gliding) ++gliding;
  }
  return 2 * gliding > within;
}

Located locate_by_levels(const LevelTrack& track) {
  Located located;
  auto turned = measure::cut_turned(track, measure::find_plateaus(track));
  auto ladder = measure::locate_ladder(track, {});
  if (ladder && !moves(turned, *ladder)) {
    located.steps = ladder->steps;
    located.input = judge::LadderInput{std::nullopt, Decibels(round_rise(ladder->rise_db))};
    located.found.by = By::levels;
    describe_ladder(located, *ladder, located.input->rise.value(), track.rate);
    located.ladder = std::move(ladder);
    return located;
  }
  const bool gliding =
      std::any_of(turned.begin(), turned.end(), [](const Step& step) { return step.gliding; });
  located.steps = std::move(turned);
  located.tone = track.tone;
  if (!located.steps.empty()) located.found.by = gliding ? By::turned : By::standing;
  return located;
}

struct Planned {
  measure::LadderPlan plan;
  Dbfs first{0.0};
};

Planned plan_of(const LadderOptions& ladder) {
  const Decibels range = ladder.to - ladder.from;
  const double count = std::abs(range / ladder.step);
  constexpr double whole = 1e-6;
  if (count < 1.0 || std::abs(count - std::round(count)) > whole) {
    throw Error("a step of " + format_quantity(ladder.step) + " does not divide the way from " +
                    format_quantity(ladder.from) + " to " + format_quantity(ladder.to),
                "--step", "give the ladder as it was played, for example --step 1dB");
  }
  Planned planned;
  planned.first = ladder.from;
  planned.plan.steps = static_cast<int>(std::lround(count)) + 1;
  planned.plan.rise_db = std::copysign(ladder.step.value(), range.value());
  return planned;
}

std::string words_of(const measure::LadderPlan& plan) {
  return std::to_string(plan.steps) + " steps of " +
         format_quantity(Decibels(std::abs(plan.rise_db)));
}

Located lay(const LevelTrack& track, measure::AlignedLadder ladder, const Planned& planned, By by) {
  Located located;
  located.steps = ladder.steps;
  located.planned = planned.plan.steps;
  located.input = judge::LadderInput{planned.first, Decibels(planned.plan.rise_db)};
  if (ladder.numbering == measure::Numbering::unknown) located.input->first.reset();
  located.found.by = by;
  describe_ladder(located, ladder, planned.plan.rise_db, track.rate);
  located.ladder = std::move(ladder);
  return located;
}

// The place that one channel's ladder gives to another channel's.
measure::AlignedLadder lent(const measure::AlignedLadder& ladder, const LevelTrack& track) {
  measure::AlignedLadder result = ladder;
  result.muted.reset();
  if (ladder.grid) {
    result.steps = measure::cut_evenly(track, *ladder.grid);
    return result;
  }
  std::vector<measure::StepPlace> places;
  for (const Step& step : ladder.steps) {
    places.push_back({step.index, static_cast<double>(step.first), static_cast<double>(step.end),
                      step.level_db});
  }
  result.steps = measure::cut_at(track, places);
  return result;
}

// Steps that this channel cannot number, by the time at which they lie in another.
void number_by(const measure::AlignedLadder& other, measure::AlignedLadder& ladder) {
  using measure::Numbering;
  const bool told = ladder.numbering != Numbering::unknown;
  if (told || other.numbering == Numbering::unknown || !other.regular || ladder.steps.empty())
    return;
  const double at = static_cast<double>(ladder.steps.front().first) - other.first;
  const int shift = static_cast<int>(std::lround(at / other.period)) - ladder.steps.front().index;
  for (Step& step : ladder.steps) step.index += shift;
  for (auto& missing : ladder.missing) missing.index += shift;
  if (ladder.muted) ladder.muted->after_index += shift;
  ladder.first -= shift * ladder.period;
  ladder.numbering = other.numbering;
}

bool is_better(const measure::AlignedLadder& ladder, const measure::AlignedLadder* best) {
  if (best == nullptr) return true;
  const bool told = ladder.numbering != measure::Numbering::unknown;
  const bool best_told = best->numbering != measure::Numbering::unknown;
  return told != best_told ? told : ladder.steps.size() > best->steps.size();
}

// The described ladder in every channel. One in which it cannot be seen takes the place that
// another channel gives; they were recorded together.
std::vector<Located> locate_planned(const std::vector<LevelTrack>& tracks, const Planned& planned,
                                    By by, const std::string& file) {
  std::vector<std::optional<measure::AlignedLadder>> ladders;
  const measure::AlignedLadder* best = nullptr;
  int surplus = 0;
  ladders.reserve(tracks.size());
  for (const LevelTrack& track : tracks) {
    ladders.push_back(measure::locate_ladder(track, planned.plan));
    if (!ladders.back()) continue;
    surplus = std::max(surplus, ladders.back()->surplus);
    if (ladders.back()->surplus > 0) ladders.back().reset();
  }
  for (const auto& ladder : ladders) {
    if (ladder && is_better(*ladder, best)) best = &*ladder;
  }
  if (best == nullptr && surplus > 0) {
    throw Error(
        "there are " + std::to_string(planned.plan.steps + surplus) + " regular steps in it, not " +
            words_of(planned.plan),
        file,
        "give --from, --to and --step as the ladder was played, or, where something else is "
        "heard beside it, leave them out");
  }
  if (best == nullptr) {
    throw Error("no ladder of " + words_of(planned.plan) + " was found in it", file,
                "check --step, or leave --from, --to and --step out to see what is there");
  }
  const measure::AlignedLadder lender = *best;
  std::vector<Located> located;
  located.reserve(tracks.size());
  for (std::size_t c = 0; c < tracks.size(); ++c) {
    measure::AlignedLadder own = ladders[c] ? *ladders[c] : lent(lender, tracks[c]);
    number_by(lender, own);
    located.push_back(lay(tracks[c], std::move(own), planned, by));
  }
  return located;
}

Planned plan_of(const Announced& announced, Hertz rate) {
  const signal::LevelLadder& ladder = announced.ladder;
  Planned planned;
  planned.first = ladder.start;
  planned.plan.steps = signal::ladder_steps(ladder);
  planned.plan.rise_db = std::copysign(ladder.step.value(), (ladder.stop - ladder.start).value());
  planned.plan.nominal =
      measure::Grid{announced.first, ladder.dwell.value() * rate.value(), planned.plan.steps};
  return planned;
}

std::vector<Located> locate(const Heard& heard, const std::optional<LadderOptions>& ladder,
                            const std::string& file) {
  const std::vector<LevelTrack>& tracks = heard.tracks;
  if (ladder) return locate_planned(tracks, plan_of(*ladder), By::options, file);
  if (heard.announced) {
    return locate_planned(tracks, plan_of(*heard.announced, tracks.front().rate), By::marker, file);
  }
  std::vector<Located> located;
  located.reserve(tracks.size());
  for (const LevelTrack& track : tracks) located.push_back(locate_by_levels(track));
  return located;
}

std::vector<std::vector<measure::MeasuredStep>> measure_located(const audio::Source& source,
                                                                const judge::Limits& limits,
                                                                const std::vector<Located>& at) {
  std::vector<measure::KnownStepMeter> meters;
  meters.reserve(at.size());
  for (const Located& located : at) {
    meters.emplace_back(source.format.rate,
                        measure::RecordingOptions{limits.band, source.format.code_step},
                        located.steps, located.tone);
  }
  audio::pump(source, [&](std::span<const double> block) {
    files::throw_if_interrupted();
    for (std::size_t c = 0; c < meters.size(); ++c) {
      meters[c].add(block.data() + c, meters.size(), block.size() / meters.size());
    }
    return true;
  });
  std::vector<std::vector<measure::MeasuredStep>> measured;
  measured.reserve(meters.size());
  for (auto& meter : meters) measured.push_back(meter.finish());
  return measured;
}

// Parts of steps that are too short to hold a tone are no steps.
void take_out_unmeasured(SteppedChannel& channel) {
  measure::AlignedLadder& ladder = *channel.ladder;
  constexpr double whole_share = 0.9;
  std::erase_if(channel.steps, [&](const measure::MeasuredStep& measured) {
    const auto length = static_cast<double>(measured.step.end - measured.step.first);
    if (measured.block.tone || length > whole_share * ladder.dwell) return false;
    ladder.missing.push_back({measured.step.index, measure::Absence::cut_short});
    return true;
  });
  std::sort(ladder.missing.begin(), ladder.missing.end(),
            [](const auto& a, const auto& b) { return a.index < b.index; });
}

}  // namespace

Stepped measure_steps(const std::filesystem::path& path, const judge::Limits& limits,
                      const std::optional<LadderOptions>& ladder) {
  Stepped stepped;
  const audio::Source source = audio::open_sound_file(path);
  stepped.format = source.format;
  const Heard heard = hear(source);
  stepped.frames = heard.frames;
  stepped.provenance = provenance_of(path, source, heard.frames);
  std::vector<Located> located = locate(heard, ladder, path.string());
  auto measured = measure_located(audio::open_sound_file(path), limits, located);
  for (std::size_t c = 0; c < located.size(); ++c) {
    if (!located[c].input) measured[c] = measure::with_tone(std::move(measured[c]));
    SteppedChannel channel{std::move(measured[c]), located[c].input, std::move(located[c].ladder),
                           located[c].planned, located[c].found};
    if (channel.ladder) {
      take_out_unmeasured(channel);
      judge::place_by_distortion(channel.steps, *channel.ladder, channel.planned);
    }
    channel.found.steps = static_cast<int>(channel.steps.size());
    stepped.channels.push_back(std::move(channel));
  }
  return stepped;
}

judge::ChannelOnset judge_stepped_channel(const Stepped& stepped, std::size_t channel,
                                          const judge::OnsetLimits& limits) {
  const SteppedChannel& steps = stepped.channels[channel];
  const Hertz rate = stepped.format.rate;
  auto onset =
      judge::judge_onset(static_cast<int>(channel) + 1, steps.steps, steps.input, rate, limits);
  if (steps.ladder) judge::tell_gaps(onset, *steps.ladder, steps.input, steps.planned, rate);
  return onset;
}

std::vector<judge::ChannelOnset> judge_stepped(const Stepped& stepped,
                                               const judge::OnsetLimits& limits) {
  std::vector<judge::ChannelOnset> result;
  for (std::size_t c = 0; c < stepped.channels.size(); ++c) {
    result.push_back(judge_stepped_channel(stepped, c, limits));
  }
  return result;
}

}  // namespace railtap::command
