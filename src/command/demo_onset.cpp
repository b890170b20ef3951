// SPDX-License-Identifier: MIT
// What the demo learns from rising levels.
#include "command/demo_onset.hpp"

#include <algorithm>
#include <iterator>

#include "command/stepped.hpp"
#include "judge/overdrive.hpp"
#include "report/onset.hpp"
#include "units/error.hpp"

namespace railtap::command {
std::vector<judge::ChannelOnset> judge_rising_level(const DemoFolder& folder,
                                                    const std::string& name,
                                                    const judge::Limits& limits) {
  const auto path = folder.capture(name);
  const Stepped stepped = measure_steps(path, limits, std::nullopt);
  report::OnsetDocument document;
  document.file_name = path.string();
  document.format = stepped.format;
  document.limits.analysis = limits;
  for (const SteppedChannel& channel : stepped.channels) document.found.push_back(channel.found);
  document.channels = judge_stepped(stepped, document.limits);
  files::write_file(folder.result(name + "-onset"), report::onset_json(document).line() + "\n",
                    folder.overwrite);
  return document.channels;
}

std::optional<Volts> lowest_flat_top(const std::vector<judge::ChannelOnset>& channels) {
  std::optional<Volts> lowest;
  for (const judge::ChannelOnset& channel : channels) {
    if (!channel.flat_top || !channel.flat_top->level_v) continue;
    if (!lowest || *channel.flat_top->level_v < *lowest) lowest = channel.flat_top->level_v;
  }
  return lowest;
}

namespace {

// The rest on each volume, in order: the last one that is reached before the volume is turned on.
std::vector<judge::OnsetStep> rests_of(const judge::ChannelOnset& channel,
                                       const VolumesTried& tried) {
  constexpr Seconds late{0.05};  // an edge is found within this
  std::vector<judge::OnsetStep> rests;
  for (int volume = tried.first; volume <= tried.last; ++volume) {
    const Seconds turned_on = tried.start + tried.dwell * (volume - tried.first + 1);
    const judge::OnsetStep* rest = nullptr;
    for (const judge::OnsetStep& step : channel.steps) {
      if (step.moving || step.start >= turned_on - late) continue;
      if (step.end > turned_on - tried.dwell + late) rest = &step;
    }
    if (rest != nullptr) rests.push_back(*rest);
  }
  return rests;
}

std::size_t highest_clean(const std::vector<judge::OnsetStep>& rests,
                          const judge::ChannelOnset& channel) {
  std::size_t clean = 0;
  const auto& limit = channel.flat_top;
  for (std::size_t i = 0; i < rests.size(); ++i) {
    const bool below = !limit || !rests[i].level || *rests[i].level <= limit->level;
    if (rests[i].verdict == judge::Verdict::clean && below) clean = i;
  }
  return clean;
}

}  // namespace

report::DemoHeadUnit head_unit_limit(const std::vector<judge::ChannelOnset>& channels,
                                     VolumesTried tried, const std::string& place) {
  const int count = tried.last - tried.first + 1;
  std::vector<judge::OnsetStep> worst;
  std::size_t worst_clean = 0;
  for (const judge::ChannelOnset& channel : channels) {
    const auto rests = rests_of(channel, tried);
    if (!channel.highest_clean_step || std::ssize(rests) != count) {
      throw Error(
          "volume " + std::to_string(tried.first) + " is not clean, or the steps were not found",
          place, "describe a head unit that is clean at three fifths of its volume");
    }
    const std::size_t clean = highest_clean(rests, channel);
    if (!worst.empty() && clean >= worst_clean) continue;
    worst = rests;
    worst_clean = clean;
  }
  report::DemoHeadUnit unit;
  unit.steps = tried.last;
  unit.highest_clean_step = tried.first + static_cast<int>(worst_clean);
  unit.clean_level = worst[worst_clean].level_v.value_or(Volts(0.0));
  if (worst_clean + 1 < worst.size())
    unit.next_overdrive = judge::larger_overdrive(worst[worst_clean + 1]);
  unit.onset = lowest_flat_top(channels);
  return unit;
}

}  // namespace railtap::command
