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
#include "files/interrupt.hpp"
#include "measure/marker.hpp"
#include "measure/steps.hpp"
#include "measure/turned_level.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

namespace railtap::command {
namespace {

using measure::Fit;
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
  report::StepsFound found;
};

void describe_grid(Located& located, const measure::Grid& grid, double rise_db, Hertz rate) {
  located.found.rise = Decibels(rise_db);
  located.found.start = Seconds(grid.first / rate.value());
  located.found.dwell = Seconds(grid.dwell / rate.value());
}

// A generator's step is a round number; what was measured is it within the noise.
double round_rise(double rise_db) {
  constexpr double unit_db = 0.05;
  constexpr double close_db = 0.02;
  const double rounded = unit_db * std::round(rise_db / unit_db);
  return std::abs(rounded - rise_db) <= close_db && rounded != 0.0 ? rounded : rise_db;
}

Located locate_by_levels(const LevelTrack& track) {
  Located located;
  const std::vector<Step> plateaus = measure::find_plateaus(track);
  if (const auto ladder = measure::find_ladder(track, plateaus)) {
    located.steps = measure::cut_evenly(track, ladder->grid);
    located.input = judge::LadderInput{std::nullopt, Decibels(round_rise(ladder->rise_db))};
    located.found.by = By::levels;
    describe_grid(located, ladder->grid, located.input->rise.value(), track.rate);
    return located;
  }
  located.steps = measure::cut_turned(track, plateaus);
  located.tone = track.tone;
  const bool turned = std::any_of(located.steps.begin(), located.steps.end(),
                                  [](const Step& step) { return step.gliding; });
  if (!located.steps.empty()) located.found.by = turned ? By::turned : By::standing;
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

[[noreturn]] void fail(const measure::Placement& placement, const Planned& planned,
                       const std::string& file) {
  const std::string planned_steps = std::to_string(planned.plan.steps) + " steps of " +
                                    format_quantity(Decibels(std::abs(planned.plan.rise_db)));
  const std::string found = std::to_string(placement.found);
  switch (placement.fit) {
    case Fit::too_many:
      throw Error("there are " + found + " regular steps in it, not " + planned_steps, file,
                  "give --from, --to and --step as the ladder was played");
    case Fit::too_few:
      throw Error(
          "only " + found + " of " + planned_steps + " are in it, and silence on both sides", file,
          "check --from, --to and --step; leave them out to see what is there");
    case Fit::ambiguous:
      throw Error(
          "it holds neither the start nor the end of the ladder, so its steps cannot be "
          "numbered",
          file, "record the ladder with a second of silence before it or after it");
    default:
      throw Error("no ladder of " + planned_steps + " was found in it", file,
                  "check --step, or leave --from, --to and --step out to see what is there");
  }
}

Located lay(const LevelTrack& track, const measure::Placement& placement, const Planned& planned,
            By by) {
  Located located;
  located.steps = measure::cut_evenly(track, placement.grid);
  located.input = judge::LadderInput{planned.first, Decibels(planned.plan.rise_db)};
  located.found.by = by;
  describe_grid(located, placement.grid, planned.plan.rise_db, track.rate);
  return located;
}

// The described ladder in every channel. One in which it cannot be seen takes the place that
// another channel gives; they were recorded together.
std::vector<Located> locate_planned(const std::vector<LevelTrack>& tracks, const Planned& planned,
                                    By by, const std::string& file) {
  std::vector<measure::Placement> placements;
  placements.reserve(tracks.size());
  const measure::Placement* best = nullptr;
  const auto fits = [](Fit fit) { return fit == Fit::whole || fit == Fit::cut_short; };
  for (const LevelTrack& track : tracks) {
    placements.push_back(measure::place_ladder(track, measure::find_plateaus(track), planned.plan));
  }
  for (const auto& placement : placements) {
    if (fits(placement.fit) && (best == nullptr || placement.found > best->found))
      best = &placement;
  }
  if (best == nullptr) {
    for (const auto& placement : placements) {
      if (placement.fit != Fit::not_found) fail(placement, planned, file);
    }
    fail(placements.front(), planned, file);
  }
  std::vector<Located> located;
  located.reserve(tracks.size());
  for (std::size_t c = 0; c < tracks.size(); ++c) {
    const bool own = fits(placements[c].fit);
    located.push_back(lay(tracks[c], own ? placements[c] : *best, planned, by));
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

}  // namespace

Stepped measure_steps(const std::filesystem::path& path, const judge::Limits& limits,
                      const std::optional<LadderOptions>& ladder) {
  Stepped stepped;
  const audio::Source source = audio::open_sound_file(path);
  stepped.format = source.format;
  const Heard heard = hear(source);
  stepped.frames = heard.frames;
  stepped.provenance = provenance_of(path, source, heard.frames);
  const std::vector<Located> located = locate(heard, ladder, path.string());
  auto measured = measure_located(audio::open_sound_file(path), limits, located);
  for (std::size_t c = 0; c < located.size(); ++c) {
    if (!located[c].input) measured[c] = measure::with_tone(std::move(measured[c]));
    SteppedChannel channel{std::move(measured[c]), located[c].input, located[c].found};
    channel.found.steps = static_cast<int>(channel.steps.size());
    stepped.channels.push_back(std::move(channel));
  }
  return stepped;
}

std::vector<judge::ChannelOnset> judge_stepped(const Stepped& stepped,
                                               const judge::OnsetLimits& limits) {
  std::vector<judge::ChannelOnset> result;
  for (const SteppedChannel& channel : stepped.channels) {
    result.push_back(judge::judge_onset(static_cast<int>(result.size()) + 1, channel.steps,
                                        channel.input, stepped.format.rate, limits));
  }
  return result;
}

}  // namespace railtap::command
