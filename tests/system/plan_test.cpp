// SPDX-License-Identifier: MIT
// Plans: what limits a channel, where its gain lands, what the cables cost.
#include "system/plan.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <string>

#include "report/plan.hpp"
#include "support/basics.hpp"

using namespace railtap;
using system::GainLanding;
using system::PlanLimit;
using test::within_abs;
using test::within_rel;

namespace {

/// The starter with its first `from` replaced, planned.
std::string with(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

std::string starter() {
  return std::string(system::starter_text());
}

/// The head unit of the invented van clips at 12.2 V peak: 8.627 V RMS.
std::string measured() {
  return with(starter(), "# clean_output = \"8.3V\"", "clean_output = \"8.627V\"");
}

system::Plan plan_of(const std::string& text) {
  return system::make_plan(system::parse_system(text, "van.toml"));
}

bool warns(const system::Plan& plan, const std::string& part) {
  for (const std::string& warning : report::plan_warnings(plan)) {
    if (warning.find(part) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("plan: the van's targets are those of its ratings") {
  const auto plan = plan_of(measured());
  REQUIRE(plan.channels.size() == 5);
  CHECK(within_abs(plan.channels[0].target.volts.value(), 14.8324, 5e-5));  // √(55·4)
  CHECK(within_abs(plan.channels[4].target.volts.value(), 23.6643, 5e-5));  // √(280·2)
  for (const auto& channel : plan.channels) {
    CHECK(channel.limited_by == PlanLimit::amplifier);
    CHECK(channel.reachable);
  }
  CHECK(passes(plan));
}

TEST_CASE("plan: a gain lands where the input is the marked sensitivity") {
  const auto plan = plan_of(measured());
  REQUIRE(plan.channels[0].gain);
  const GainLanding& gain = *plan.channels[0].gain;
  CHECK(gain.verdict == GainLanding::Verdict::within);
  CHECK(within_rel(gain.sensitivity.value(), 8.627, 1e-9));
  // Equal turns, equal decibels: ln(12/8.627)/ln(12/1).
  CHECK(within_abs(gain.travel.value(), 100.0 * std::log(12.0 / 8.627) / std::log(12.0), 1e-9));
}

TEST_CASE("plan: a speaker that stands less sets the target, and the gain lands lower") {
  const auto plan = plan_of(with(measured(), "power = \"60W\"", "power = \"30W\""));
  CHECK(plan.channels[0].limited_by == PlanLimit::speaker);
  CHECK(within_abs(plan.channels[0].target.volts.value(), std::sqrt(120.0), 1e-9));
  // 8.627 V · √(55/30): the control has to be less sensitive by as much.
  CHECK(
      within_rel(plan.channels[0].gain->sensitivity.value(), 8.627 * std::sqrt(55.0 / 30.0), 1e-9));
}

TEST_CASE("plan: a rating at another load is a voltage") {
  // 55 W into 4 ohm is 14.83 V, whatever hangs on it.
  const auto plan = plan_of(with(measured(), "impedance = \"4ohm\"\npower = \"60W\"",
                                 "impedance = \"8ohm\"\npower = \"60W\""));
  CHECK(within_abs(plan.channels[0].target.volts.value(), 14.8324, 5e-5));
  CHECK(within_abs(plan.channels[0].target.power.value(), 27.5, 1e-9));
  const auto low = plan_of(with(measured(), "impedance = \"4ohm\"\npower = \"60W\"",
                                "impedance = \"2ohm\"\npower = \"160W\""));
  CHECK(warns(low, "may overheat or shut down"));
}

TEST_CASE("plan: a head unit that gives too little cannot reach the target") {
  const auto plan =
      plan_of(with(starter(), "# clean_output = \"8.3V\"", "clean_output = \"0.5V\""));
  CHECK(plan.channels[0].limited_by == PlanLimit::head_unit);
  CHECK(within_abs(plan.channels[0].target.volts.value(), 14.8324 / 2.0, 5e-5));
  REQUIRE(plan.channels[0].gain);
  CHECK(plan.channels[0].gain->verdict == GainLanding::Verdict::too_little);
  CHECK(within_abs(plan.channels[0].gain->missing.value(), 6.0206, 5e-5));
  CHECK(!passes(plan));
  CHECK(warns(plan, "6.0 dB are missing"));
}

TEST_CASE("plan: what is missing within the tolerance is no failure") {
  // 0.98 V where 1 V is wanted: 0.175 dB, and 0.96 V: 0.355 dB; a reading may be off by 0.25 dB.
  const auto near =
      plan_of(with(starter(), "# clean_output = \"8.3V\"", "clean_output = \"0.98V\""));
  CHECK(near.channels[0].gain->verdict == GainLanding::Verdict::too_little);
  CHECK(passes(near));
  CHECK(!passes(plan_of(with(starter(), "# clean_output = \"8.3V\"", "clean_output = \"0.96V\""))));
}

TEST_CASE("plan: a head unit that gives too much cannot be turned down") {
  const auto plan = plan_of(with(starter(), "# clean_output = \"8.3V\"", "clean_output = \"24V\""));
  CHECK(plan.channels[0].gain->verdict == GainLanding::Verdict::too_much);
  CHECK(within_abs(plan.channels[0].gain->missing.value(), 6.0206, 5e-5));
  CHECK(!passes(plan));
}

TEST_CASE("plan: an unknown clean output leaves the gain open, not the target") {
  const auto plan = plan_of(starter());
  CHECK(!plan.channels[0].gain);
  CHECK(passes(plan));
  CHECK(warns(plan, "clean output is not known"));
  CHECK(warns(plan, "where each gain will be"));
  CHECK(report::plan_text(plan).find("position is not known") == std::string::npos);
}

TEST_CASE("plan: a caution that holds for several gains is said once") {
  const auto plan = plan_of(measured());
  const auto times = [](const std::string& text, const std::string& part) {
    int count = 0;
    for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++count;
    return count;
  };
  CHECK(times(report::plan_text(plan), "Turn up slowly from minimum") == 1);
  CHECK(times(report::plan_markdown(plan), "Turn up slowly from minimum") == 1);
  CHECK(times(report::plan_text(plan), "CAUTION: ") > 4);
}

TEST_CASE("plan: a set-up tone below full scale is that much weaker at the input") {
  const auto plan = plan_of(with(measured(), "tone_level = \"0dBFS\"", "tone_level = \"-5dBFS\""));
  const auto& channel = plan.channels[0];
  CHECK(within_rel(channel.gain->sensitivity.value(), 8.627 * std::pow(10.0, -0.25), 1e-9));
  CHECK(within_abs(channel.overlap.full_scale_overdrive.value(), 5.0, 1e-9));
  // 5 dB over a hard rail: THD 20.3 % (closed form of the clipped sine).
  CHECK(within_abs(channel.overlap.full_scale_thd.value(), 20.3, 0.05));
}

TEST_CASE("plan: an overlap that a speaker does not stand is told, once for channels alike") {
  const auto plan = plan_of(with(measured(), "tone_level = \"0dBFS\"", "tone_level = \"-5dBFS\""));
  CHECK(warns(plan,
              "front left, front right, rear left, rear right: a full-scale passage puts 82.8 W"));
  CHECK(!warns(plan_of(measured()), "a full-scale passage"));
}

TEST_CASE("plan: a control far up with a speaker-level source is told") {
  CHECK(warns(plan_of(with(starter(), "# clean_output = \"8.3V\"", "clean_output = \"3V\"")),
              "needs a quarter or less"));
  CHECK(!warns(plan_of(measured()), "needs a quarter or less"));
}

TEST_CASE("plan: a low supply lowers the target of an unregulated amplifier only") {
  const auto text = with(measured(), "# while_setting = \"13.8V\"", "while_setting = \"12.6V\"");
  const auto plan = plan_of(text);
  CHECK(plan.channels[0].limited_by == PlanLimit::supply);
  // 12.6 V of 14.4 V is 1.16 dB.
  CHECK(within_abs(20.0 * std::log10(plan.channels[0].target.volts / plan.channels[0].wanted),
                   -1.1598, 1e-4));
  const auto regulated = plan_of(with(text, "# regulated = true", "regulated = true"));
  CHECK(regulated.channels[0].limited_by == PlanLimit::amplifier);
}

TEST_CASE("plan: currents add on a shared cable, and the drop follows") {
  const auto plan = plan_of(measured());
  REQUIRE(plan.feeds.size() == 1);
  const auto& feed = plan.feeds[0];
  // (4·55 W + 280 W)/0.85/14.4 V; 6 m of 16 mm2 at 1/58 ohm mm2/m.
  CHECK(within_rel(feed.full.value(), 500.0 / 0.85 / 14.4, 1e-9));
  CHECK(within_rel(feed.resistance.value(), 6.0 / 16.0 / 58.0, 1e-9));
  CHECK(within_rel(feed.drop.value(), 40.8497 * 6.0 / 16.0 / 58.0, 1e-5));
  CHECK(within_rel(feed.music.value(), feed.full.value() / 8.0, 1e-9));
  CHECK(passes(feed));
}

TEST_CASE("plan: thin cables and large fuses fail") {
  const auto thin = plan_of(with(measured(), "gauge = \"16mm2\"", "gauge = \"6mm2\""));
  CHECK(!thin.feeds[0].drop_passes);    // 0.70 V, 4.9 %
  CHECK(!thin.feeds[0].fuse_protects);  // 60 A on 45 A
  CHECK(!passes(thin));
  CHECK(warns(thin, "the cable overheats before it blows"));
  const auto by_maker = plan_of(with(measured(), "# ampacity = \"100A\"", "ampacity = \"50A\""));
  CHECK(!by_maker.feeds[0].fuse_protects);
  CHECK(!by_maker.feeds[0].ampacity_by_table);
  const auto small = plan_of(with(measured(), "fuse = \"60A\"", "fuse = \"4A\""));
  CHECK(!small.feeds[0].fuse_carries);
  const auto chassis = plan_of(with(measured(), "return = \"cable\"", "return = \"chassis\""));
  CHECK(within_rel(chassis.feeds[0].drop.value() * 2.0, plan_of(measured()).feeds[0].drop.value(),
                   1e-12));
}

TEST_CASE("plan: a class AB amplifier draws more, and music costs it more") {
  const auto plan = plan_of(with(measured(), "class = \"D\"", "class = \"AB\""));
  CHECK(within_rel(plan.amplifiers[0].full.value(), 220.0 / 0.6 / 14.4, 1e-9));
  CHECK(within_rel(plan.amplifiers[0].music.value(),
                   plan.amplifiers[0].full.value() / std::sqrt(8.0), 1e-9));
}

TEST_CASE("plan: doors and bass are compared where their sensitivities are known") {
  CHECK(!plan_of(measured()).matching.bass);
  const auto plan =
      plan_of(with(measured(), "power = \"300W\"", "power = \"300W\"\nsensitivity = \"86dB\""));
  REQUIRE(plan.matching.doors);
  REQUIRE(plan.matching.bass);
  // 89 + 20·log10(14.8324/2.8284) and 86 + 20·log10(23.6643/2.8284).
  CHECK(within_abs(plan.matching.doors->value(), 103.3930, 1e-3));
  CHECK(within_abs(plan.matching.bass->value(), 104.4508, 1e-3));
}

TEST_CASE("plan: a speaker without a sensitivity is named") {
  const auto plan = plan_of(measured());
  CHECK(plan.matching.without_sensitivity == std::vector<std::string>{"bass driver"});
  CHECK(report::plan_text(plan).find("give the sensitivity of bass driver.") != std::string::npos);
}

TEST_CASE("plan: the Markdown has backslashes only where Markdown would take a character") {
  const std::string usual = report::plan_markdown(plan_of(measured()));
  CHECK(usual.find('\\') == std::string::npos);
  const std::string name = R"(a_b _c_ *d* [e](f) g-h #1 (i) 2+2 <u> R&D A&amp; x|y `z` ~n~ \\ !)";
  const auto plan = plan_of(with(measured(), "name = \"camper van\"", "name = \"" + name + "\""));
  const std::string shown =
      R"(a_b \_c\_ \*d\* [e]\(f) g-h #1 (i) 2+2 \<u> R&D A\&amp; x\|y \`z\` \~n\~ \\ !)";
  CHECK(report::plan_markdown(plan).find(shown) != std::string::npos);
}

TEST_CASE("plan: the tap stands the largest voltage") {
  const auto plan = plan_of(measured());
  CHECK(plan.tap.at == "bass");
  CHECK(plan.tap.bridge_tied);
  REQUIRE(plan.tap.tap);
  CHECK(plan.tap.tap->headroom >= Decibels(3.0));
  const auto bare = with(starter(), "# [attenuator]",
                         "[attenuator]\nseries_each = \"9.1kohm\"\n"
                         "shunt = \"10kohm\"\nbridge_tied = false\n#");
  CHECK(warns(plan_of(bare), "it shorts an amplifier"));
  CHECK(warns(plan_of(bare), "tap: the input overloads"));
}

TEST_CASE("plan: controls that are shared by different targets are told") {
  const auto plan = plan_of(with(measured(), "name = \"front right\"\nrated_power = \"55W\"",
                                 "name = \"front right\"\nrated_power = \"40W\""));
  CHECK(warns(plan, "front right and front left share the control \"front\""));
}

TEST_CASE("plan: the checklist sets every control once, and names of files stay text") {
  const auto plan = plan_of(with(measured(), "name = \"camper van\"", "name = \"<b>van</b> | x\""));
  int sets = 0;
  for (const auto& step : plan.order) sets += step.title.starts_with("Set ") ? 1 : 0;
  CHECK(sets == 3);
  const std::string markdown = report::plan_markdown(plan);
  CHECK(markdown.find("gains: \\<b>van\\</b> \\| x\n") != std::string::npos);
  CHECK(markdown.find("- [ ] **Set front on door amplifier**") != std::string::npos);
}
