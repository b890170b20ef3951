// SPDX-License-Identifier: MIT
// What the demo learns from rising levels.
#include "command/demo_onset.hpp"

#include <algorithm>
#include <iterator>

#include "command/stepped.hpp"
#include "report/onset.hpp"
#include "units/error.hpp"

namespace railtap::command {
namespace {

std::optional<Decibels> nearer_rail(const judge::OnsetStep& step) {
  return std::max(step.overdrive_positive, step.overdrive_negative);
}

}  // namespace

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

report::DemoHeadUnit head_unit_limit(const std::vector<judge::ChannelOnset>& channels,
                                     VolumesTried tried, const std::string& place) {
  const int count = tried.last - tried.first + 1;
  const judge::ChannelOnset* worst = &channels.front();
  for (const judge::ChannelOnset& channel : channels) {
    if (!channel.highest_clean_step || std::ssize(channel.steps) != count) {
      throw Error(
          "volume " + std::to_string(tried.first) + " is not clean, or the steps were not found",
          place, "describe a head unit that is clean at three fifths of its volume");
    }
    if (*channel.highest_clean_step < *worst->highest_clean_step) {
      worst = &channel;
    }
  }
  const auto clean = static_cast<std::size_t>(*worst->highest_clean_step - 1);
  report::DemoHeadUnit unit;
  unit.steps = tried.last;
  unit.highest_clean_step = tried.first + static_cast<int>(clean);
  unit.clean_level = worst->steps[clean].level_v.value_or(Volts(0.0));
  if (clean + 1 < worst->steps.size()) unit.next_overdrive = nearer_rail(worst->steps[clean + 1]);
  unit.onset = lowest_flat_top(channels);
  return unit;
}

}  // namespace railtap::command
