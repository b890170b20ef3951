// SPDX-License-Identifier: MIT
// One truth: plan, target, walk, demo, record and sheet name the same volts for the same car.
#include <doctest/doctest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>

#include "command/demo.hpp"
#include "command/walk.hpp"
#include "command/walk_checks.hpp"
#include "electric/target.hpp"
#include "files/atomic_file.hpp"
#include "support/basics.hpp"
#include "system/job_record.hpp"
#include "system/plan.hpp"
#include "units/print.hpp"

using namespace railtap;
using test::within_rel;

namespace {

namespace fs = std::filesystem;

/// A car with one amplifier, one control and one kind of speaker, as its plates say it.
struct Car {
  double power_w = 0.0, load_ohm = 0.0, speaker_w = 0.0, impedance_ohm = 0.0;
  double supply_v = 0.0, rated_supply_v = 14.4;
  double clean_v = 0.0, sensitivity_v = 1.0, tone_db = 0.0;
  int speakers = 1;
  bool regulated = false;
};

Car random_car(test::Random& random) {
  Car car;
  car.power_w = test::log_between(random, 20.0, 600.0);
  car.load_ohm = 2.0 * (1 + test::one_of(random, 2));
  car.speaker_w = car.power_w * test::log_between(random, 0.3, 3.0);
  car.impedance_ohm = 2.0 * (1 + test::one_of(random, 4));
  car.speakers = 1 + test::one_of(random, 2);
  car.supply_v = test::between(random, 11.5, 15.0);
  car.rated_supply_v = test::one_of(random, 3) == 0 ? 13.8 : 14.4;
  car.regulated = test::one_of(random, 3) == 0;
  car.clean_v = test::log_between(random, 0.5, 9.0);
  car.tone_db = test::one_of(random, 2) == 0 ? 0.0 : -5.0;
  return car;
}

std::string described(const Car& car) {
  std::ostringstream text;
  text.precision(17);
  text << "schema = \"railtap.system/1\"\nname = \"car\"\n[setup]\ntone_level = \"" << car.tone_db
       << "dBFS\"\n[supply]\nrunning = \"14.4V\"\nwhile_setting = \"" << car.supply_v
       << "V\"\n[head_unit]\nname = \"unit\"\nvolume_steps = 40\n"
          "outputs = [\"front left\", \"front right\"]\nclean_output = \""
       << car.clean_v << "V\"\n[[speaker]]\nname = \"door\"\nimpedance = \"" << car.impedance_ohm
       << "ohm\"\npower = \"" << car.speaker_w
       << "W\"\n[[amplifier]]\nname = \"amplifier\"\nrated_supply = \"" << car.rated_supply_v
       << "V\"\nregulated = " << (car.regulated ? "true" : "false") << "\nsensitivity_low = \""
       << car.sensitivity_v << "V\"\nsensitivity_high = \"12V\"\n";
  for (const char* side : {"left", "right"}) {
    text << "[[amplifier.channel]]\nname = \"front " << side << "\"\nrated_power = \""
         << car.power_w << "W\"\nrated_load = \"" << car.load_ohm
         << "ohm\"\nspeaker = \"door\"\nspeakers = " << car.speakers << "\ninputs = [\"front "
         << side << "\"]\ncontrol = \"front\"\n";
  }
  return text.str();
}

/// V = sqrt(P·R) of each rating, the amplifier's volts scaled by its supply, and by what the head
/// unit gives of its sensitivity: Ohm's law, and common practice.
double least_volts(const Car& car) {
  const double rated = std::sqrt(car.power_w * car.load_ohm);
  // n speakers in parallel take n times the power of one at the same volts.
  const double speaker = std::sqrt(car.speaker_w * car.impedance_ohm);
  const double supply =
      car.regulated ? rated : rated * std::min(1.0, car.supply_v / car.rated_supply_v);
  const double source =
      rated * car.clean_v * std::pow(10.0, car.tone_db / 20.0) / car.sensitivity_v;
  return std::min({rated, speaker, supply, source});
}

electric::ChannelTarget typed(const Car& car) {
  const double load = car.impedance_ohm / car.speakers;
  electric::Channel channel;
  channel.amplifier_power = Watts(car.power_w * car.load_ohm / load);
  channel.load = Ohms(load);
  channel.speaker_power = Watts(car.speaker_w * car.speakers);
  electric::Conditions conditions;
  conditions.supply = Volts(car.supply_v);
  conditions.rated_supply = Volts(car.rated_supply_v);
  conditions.regulated = car.regulated;
  conditions.source = Volts(car.clean_v);
  conditions.sensitivity = Volts(car.sensitivity_v);
  conditions.tone_level = Dbfs(car.tone_db);
  return electric::resolve(channel, conditions);
}

rig::Rig rig_of(const Car& car) {
  rig::Rig rig = rig::parse_rig(rig::camper_van_text(), "camper_van.toml");
  rig.supply.voltage = Volts(car.supply_v);
  rig.amplifiers.resize(1);
  rig::Amplifier& amplifier = rig.amplifiers.front();
  amplifier.controls.resize(1);
  amplifier.rated_power = Watts(car.power_w);
  amplifier.rated_load = Ohms(car.load_ohm);
  amplifier.sensitivity_low = Volts(car.sensitivity_v);
  amplifier.regulated = car.regulated;
  amplifier.controls.front().speaker_power = Watts(car.speaker_w * car.speakers);
  amplifier.controls.front().speaker_load = Ohms(car.impedance_ohm / car.speakers);
  // Ten percent of reserve over its rating, as amplifiers have.
  amplifier.output.rail = Volts(1.1 * std::sqrt(2.0 * car.power_w * car.load_ohm));
  rig.tap.nominal_attenuation = 1.5 * amplifier.output.rail.value() + 15.0;
  return rig;
}

/// A folder of its own that goes away again.
struct Folder {
  fs::path path = fs::temp_directory_path() / ("railtap_one_target_" + std::to_string(getpid()));
  Folder() { fs::remove_all(path); }
  ~Folder() { fs::remove_all(path); }
};

void check_demo(const Car& plates) {
  const Folder folder;
  std::ostringstream notes;
  const auto demo =
      run_demo(command::make_bench(rig_of(plates)),
               command::open_demo_folder(folder.path, files::Overwrite::refuse), notes);
  Car car = plates;
  car.clean_v = demo.head_unit.clean_level.value();  // as it was found
  const auto plan = system::make_plan(system::parse_system(described(car), "car.toml"));
  const auto record = system::read_job_record(folder.path / "job.json");
  const std::string sheet = files::read_file(folder.path / "sheet.html", 50'000'000);
  REQUIRE(demo.channels.size() == 2);
  int targets = 0;
  for (const auto& entry : record.entries) {
    if (entry.kind != "target") continue;
    const auto json = nlohmann::json::parse(entry.result.line());
    CHECK(within_rel(json["target_v"].get<double>(), least_volts(car), 1e-9));
    CHECK(json["limited_by"] == electric::name(plan.channels[0].limited_by));
    ++targets;
  }
  CHECK(targets == 2);
  for (const auto& channel : demo.channels) {
    CHECK(within_rel(channel.target.value(), least_volts(car), 1e-9));
    CHECK(channel.limited_by == plan.channels[0].limited_by);
    CHECK(sheet.find(">" + format_quantity(channel.target, 4, Zeros::keep) + "<") !=
          std::string::npos);
  }
}

}  // namespace

TEST_CASE("one target: plan, target and walk agree on random cars, and with the closed form") {
  test::Random random(20'250'611);
  std::array<int, 5> limits{};
  for (int n = 0; n < 500; ++n) {
    const Car car = random_car(random);
    const std::string text = described(car);
    CAPTURE(text);
    const auto system = system::parse_system(text, "car.toml");
    const auto plan = system::make_plan(system);
    const auto target = typed(car).target;
    const auto walk = command::described(system).facts.channels;
    REQUIRE(plan.channels.size() == 2);
    REQUIRE(walk.size() == 1);
    const auto walked = command::target_of(walk.front());
    CHECK(within_rel(target.volts.value(), least_volts(car), 1e-9));
    CHECK(within_rel(plan.channels[0].target.volts.value(), target.volts.value(), 1e-9));
    CHECK(within_rel(walked.volts.value(), target.volts.value(), 1e-9));
    CHECK(within_rel(walked.power.value(), target.power.value(), 1e-9));
    CHECK(plan.channels[0].limited_by == target.limited_by);
    CHECK(walked.limited_by == target.limited_by);
    ++limits.at(static_cast<std::size_t>(target.limited_by));
  }
  // Each of them was the lowest often enough to count; clipping is measured, not described.
  for (std::size_t limit = 0; limit < 4; ++limit) CHECK(limits.at(limit) > 20);
}

TEST_CASE("one target: the demo, its record and its sheet agree with the plan of the same car") {
  Car car;
  car.power_w = 75.0;
  car.load_ohm = car.impedance_ohm = 4.0;
  car.speaker_w = 100.0;
  car.supply_v = 13.6;  // √(75·4)·13.6/14.4 = 16.36 V
  car.clean_v = 9.0;    // no limit
  CHECK(format_quantity(Volts(least_volts(car)), 4) == "16.36 V");
  check_demo(car);
  test::Random random(7);
  for (int n = 0; n < 2; ++n) {
    Car other = random_car(random);
    other.tone_db = 0.0;
    other.rated_supply_v = 14.4;
    other.power_w = std::min(other.power_w, 150.0);
    other.sensitivity_v = n == 0 ? 11.0 : 1.0;  // once, the head unit is too weak
    CAPTURE(described(other));
    check_demo(other);
  }
}
