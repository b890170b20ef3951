// SPDX-License-Identifier: MIT
// Test tones as files: all or none, and what is announced in them is found again.
#include "audio/tone_writer.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <fstream>
#include <vector>

#include "audio/stream.hpp"
#include "measure/marker.hpp"
#include "measure/tone_fit.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::audio;
using namespace railtap::signal;
namespace fs = std::filesystem;

namespace {

Track track_of(const Signal& signal, MarkerBand marker = MarkerBand::none) {
  return {"t", "title", "", "", "", {{signal, Channels::both, marker}}};
}

std::vector<double> left_of(const fs::path& path) {
  std::vector<double> left;
  pump(open_sound_file(path), [&](std::span<const double> block) {
    for (std::size_t n = 0; n < block.size(); n += 2) left.push_back(block[n]);
    return true;
  });
  return left;
}

SoundFileSpec in(Container container, SampleType samples = SampleType::pcm16) {
  return {Hertz(44100.0), 2, container, samples, "", ""};
}

}  // namespace

TEST_CASE("tone writer: when one file of several cannot be made, none is left") {
  const test::TemporaryFolder folder;
  const Track good = track_of(Sine{Hertz(1000), Dbfs(-20), Seconds(2)});
  std::ofstream(folder.path() / "b.wav") << "somebody's";
  CHECK_THROWS_AS(
      (void)write_tones({{good, folder.path() / "a.wav"}, {good, folder.path() / "b.wav"}},
                        in(Container::wav), files::Overwrite::refuse),
      Error);
  CHECK_FALSE(fs::exists(folder.path() / "a.wav"));
  CHECK(std::distance(fs::directory_iterator(folder.path()), fs::directory_iterator()) == 1);
}

TEST_CASE("tone writer: a ladder's announcement is found in every container") {
  const test::TemporaryFolder folder;
  const LevelLadder ladder{Hertz(1000), Dbfs(-10), Dbfs(0), Decibels(2), Seconds(0.2)};
  for (const auto container : {Container::wav, Container::flac, Container::aiff, Container::mp3}) {
    if (!can_write(in(container))) continue;
    const fs::path path = folder.path() / extension(container);
    (void)write_tones({{track_of(ladder, MarkerBand::mid), path}}, in(container),
                      files::Overwrite::refuse);
    const auto found = measure::find_markers(left_of(path), Hertz(44100));
    REQUIRE(found.size() == 1);
    const auto& back = std::get<LevelLadder>(found[0].announced);
    CHECK(test::within_abs(back.step.value(), 2.0, 1e-9));
    // MP3 puts a few hundredths of a second in front.
    CHECK(test::within_abs(found[0].signal_frame / 44100.0, marker_length(MarkerBand::mid).value(),
                           container == Container::mp3 ? 0.06 : 0.003));
  }
}

TEST_CASE("tone writer: MP3 leaves a tone its level within 0.01 dB and a residual below -78 dB") {
  if (!can_write(in(Container::mp3))) return;
  const test::TemporaryFolder folder;
  for (const double frequency : {50.0, 1000.0}) {
    const fs::path path = folder.path() / (std::to_string(frequency) + ".mp3");
    (void)write_tones({{track_of(Sine{Hertz(frequency), Dbfs(-1), Seconds(4)}), path}},
                      in(Container::mp3), files::Overwrite::refuse);
    const std::vector<double> all = left_of(path);
    const std::span<const double> x = std::span(all).subspan(44100, 88200);
    measure::ToneFitter fitter;
    measure::ToneFit fit;
    fitter.fit_known_frequency(x, frequency / 44100.0, 1, fit);
    std::vector<double> rest(x.size());
    fitter.residual(x, fit, rest);
    double square = 0.0;
    for (const double v : rest) square += v * v;
    const double rms = std::sqrt(square / static_cast<double>(rest.size()));
    const double level = std::abs(fit.phasor[0]);
    CHECK(test::within_db(level, sine_peak(Dbfs(-1)), 0.01));
    CHECK(20.0 * std::log10(rms * std::sqrt(2.0) / level) < -78.0);
  }
}

TEST_CASE("tone writer: the peak that it reports is the file's, and never over the codes") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "a.wav";
  const auto peaks = write_tones({{track_of(Sine{Hertz(997), Dbfs(0), Seconds(2)}), path}},
                                 in(Container::wav), files::Overwrite::refuse);
  double most = 0.0;
  for (const double v : left_of(path)) most = std::max(most, std::abs(v));
  CHECK(test::within_abs(peaks.at(0), most, 0x1p-15));
  CHECK(most <= 1.0 - 0x1p-15);
}

TEST_CASE("tone writer: what does not fit a container of 4 GiB is refused before a file is made") {
  const test::TemporaryFolder folder;
  SoundFileSpec spec = in(Container::wav, SampleType::float64);
  spec.rate = Hertz(96000);
  const Track track = track_of(Sine{Hertz(1000), Dbfs(-20), Seconds(10000)});
  CHECK_THROWS_AS(
      (void)write_tones({{track, folder.path() / "a.wav"}}, spec, files::Overwrite::refuse), Error);
  CHECK(fs::is_empty(folder.path()));
  CHECK(most_frames(in(Container::wav)) == ((1LL << 32) - (1 << 20)) / 4);
}
