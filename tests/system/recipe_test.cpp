// SPDX-License-Identifier: MIT
// Recipes: the one that the program carries, and what is said of wrong ones.
#include "system/recipe.hpp"

#include <doctest/doctest.h>

#include <string>
#include <variant>

#include "signal/generator.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::signal;
using system::parse_recipe;

namespace {

const std::string head = "schema = \"railtap.recipe/1\"\n[[track]]\nname = \"a\"\n";

std::string message_of(const std::string& text) {
  try {
    (void)parse_recipe(text, "my.toml");
  } catch (const Error& error) {
    return error.what();
  }
  return "";
}

bool says(const std::string& text, const std::string& part) {
  const std::string message = message_of(text);
  CAPTURE(message);
  return message.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE("recipe: every track of the carried kit can be rendered at every rate") {
  const Kit kit = parse_recipe(default_recipe_text(), "kit.toml");
  CHECK(kit.tracks.size() == 25);
  CHECK(file_stem(kit, 0) == "01_calibrate");
  for (const double rate : {44100.0, 48000.0, 88200.0, 96000.0}) {
    for (const Track& track : kit.tracks) {
      CHECK(Generator(track, Hertz(rate), highest_float_peak).frames() >
            static_cast<std::int64_t>(rate));
    }
  }
}

TEST_CASE("recipe: every track of the carried kit says what it is for and what to mind") {
  for (const Track& track : parse_recipe(default_recipe_text(), "kit.toml").tracks) {
    CHECK_FALSE(track.purpose.empty());
    CHECK_FALSE(track.reading.empty());
    CHECK_FALSE(track.caution.empty());
  }
}

TEST_CASE("recipe: a track of one's own has the numbers that were written") {
  const Kit kit = parse_recipe(
      head +
          "part = [{ signal = \"ladder\", frequency_hz = 100, start_dbfs = -6, stop_dbfs = 0, "
          "step_db = 0.5, dwell_s = 2, channels = \"right\", marker = \"low\" }]\n",
      "my.toml");
  const Part& part = kit.tracks.at(0).parts.at(0);
  const auto& ladder = std::get<LevelLadder>(part.signal);
  CHECK(ladder.frequency.value() == 100.0);
  CHECK(ladder_steps(ladder) == 13);
  CHECK(part.channels == Channels::right);
  CHECK(part.marker == MarkerBand::low);
}

TEST_CASE("recipe: an unknown key is named with its line and the key that was meant") {
  const std::string text = head +
                           "part = [{ signal = \"sine\", frequency_hz = 1000, level_dbfs = -20, "
                           "length_s = 1, marekr = \"mid\" }]\n";
  CHECK(says(text, "line 4"));
  CHECK(says(text, "did you mean marker?"));
  CHECK(
      says("schema = \"railtap.recipe/1\"\ntitel = \"x\"\n[[track]]\nname = \"a\"\npart = [{ "
           "signal = \"silence\", length_s = 1 }]\n",
           "did you mean title?"));
}

TEST_CASE("recipe: what cannot be is refused in a sentence that says what can") {
  CHECK(says("not toml at all", "is not TOML"));
  CHECK(says("[[track]]\nname = \"a\"\n", "schema"));
  CHECK(says("schema = \"railtap.recipe/2\"\n", "newer"));
  CHECK(says("schema = \"railtap.recipe/1\"\n", "has 0 tracks"));
  CHECK(says(head, "has no part"));
  CHECK(says(head + "part = [{ signal = \"sinus\" }]\n", "give one of: sine, ladder"));
  CHECK(says(head + "part = [{ signal = \"sine\", frequency_hz = 1000, level_dbfs = 3, length_s = "
                    "1 }]\n",
             "level_dbfs is 3"));
  CHECK(says(head +
                 "part = [{ signal = \"sine\", frequency_hz = \"1kHz\", level_dbfs = 0, length_s "
                 "= 1 }]\n",
             "not a number"));
  CHECK(says(head + "part = [{ signal = \"ladder\", frequency_hz = 100, start_dbfs = -6, stop_dbfs "
                    "= 0, step_db = 0.7, dwell_s = 1 }]\n",
             "does not divide"));
  CHECK(says(head + "part = [{ signal = \"stepped\", frequencies_hz = [], level_dbfs = 0, dwell_s "
                    "= 1 }]\n",
             "frequencies_hz"));
  CHECK(says(head + "part = [{ signal = \"silence\", length_s = 1, channels = \"top\" }]\n",
             "give one of: both, left, right"));
  CHECK(says("schema = \"railtap.recipe/1\"\n[[track]]\nname = \"Up/Down\"\n", "file name"));
  const std::string track =
      "[[track]]\nname = \"a\"\npart = [{ signal = \"silence\", length_s = 1 }]\n";
  CHECK(says("schema = \"railtap.recipe/1\"\n" + track + track, "two tracks"));
}
