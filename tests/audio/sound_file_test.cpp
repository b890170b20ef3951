// SPDX-License-Identifier: MIT
// Sound files: what is written comes back, and what cannot be read says why.
#include "audio/sound_file.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <fstream>
#include <string>
#include <vector>

#include "audio/stream.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"
#include "units/print.hpp"

using namespace railtap;
using namespace railtap::audio;
namespace fs = std::filesystem;

namespace {

std::vector<double> ramp(std::size_t count) {
  std::vector<double> x(count);
  for (std::size_t n = 0; n < count; ++n) x[n] = 0.9 * std::sin(0.01 * static_cast<double>(n));
  return x;
}

void save(const fs::path& path, const SoundFileSpec& spec, const std::vector<double>& samples) {
  const Sink sink = create_sound_file(path, spec, files::Overwrite::refuse);
  sink.write(samples);
  sink.commit();
}

std::vector<double> load(const fs::path& path) {
  std::vector<double> all;
  pump(open_sound_file(path), [&](std::span<const double> block) {
    all.insert(all.end(), block.begin(), block.end());
    return true;
  });
  return all;
}

std::string message_of(const fs::path& path) {
  try {
    static_cast<void>(open_sound_file(path));
  } catch (const Error& error) {
    return error.what();
  }
  return "";
}

}  // namespace

TEST_CASE("sound file: samples come back within half a code in every lossless format") {
  const test::TemporaryFolder folder;
  const auto samples = ramp(200000);  // more than the pump has in flight
  int number = 0;
  for (const auto container : {Container::wav, Container::flac, Container::aiff}) {
    for (const auto type :
         {SampleType::pcm16, SampleType::pcm24, SampleType::float32, SampleType::float64}) {
      const SoundFileSpec spec{Hertz(44100.0), 2, container, type, "a title", ""};
      if (!can_write(spec)) continue;
      const fs::path path = folder.path() / (std::to_string(number++) + extension(container));
      save(path, spec, samples);
      const auto back = load(path);
      REQUIRE(back.size() == samples.size());
      const double error = type == SampleType::pcm16 ? 0x1p-16 : 0x1p-24;  // half a code
      double worst = 0.0;
      for (std::size_t n = 0; n < back.size(); ++n)
        worst = std::max(worst, std::abs(back[n] - samples[n]));
      CHECK(worst <= error);
      CHECK(open_sound_file(path).format.channels == 2);
      CHECK(open_sound_file(path).format.code_step.has_value() == (type <= SampleType::pcm24));
    }
  }
  CHECK(number == 10);
}

TEST_CASE(
    "sound file: nothing is seen under the final name before commit, and nothing is left without "
    "it") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "tone.wav";
  {
    const Sink sink = create_sound_file(path, {}, files::Overwrite::refuse);
    sink.write(ramp(1000));
    CHECK_FALSE(fs::exists(path));
  }
  CHECK(fs::is_empty(folder.path()));
}

TEST_CASE("sound file: an existing file is not overwritten unasked") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "tone.wav";
  save(path, {}, ramp(1000));
  CHECK_THROWS_AS(static_cast<void>(create_sound_file(path, {}, files::Overwrite::refuse)), Error);
  CHECK(load(path).size() == 1000);
  const Sink sink = create_sound_file(path, {}, files::Overwrite::allow);
  sink.write(ramp(2000));
  sink.commit();
  CHECK(load(path).size() == 2000);
}

TEST_CASE("sound file: what cannot be read says what, where and what next") {
  const test::TemporaryFolder folder;
  CHECK(message_of(folder.path() / "none.wav").find("no such file") != std::string::npos);
  CHECK(message_of(folder.path()).find("folder") != std::string::npos);
  std::ofstream(folder.path() / "empty.wav").close();
  CHECK(message_of(folder.path() / "empty.wav").find("empty") != std::string::npos);
  std::ofstream(folder.path() / "text.wav") << "this is no sound at all, only words\n";
  CHECK(message_of(folder.path() / "text.wav").find("not a sound file") != std::string::npos);
  save(folder.path() / "zero.wav", {}, {});
  CHECK(message_of(folder.path() / "zero.wav").find("no samples") != std::string::npos);
}

TEST_CASE("sound file: a recording of another kind is named, with the command that converts it") {
  const test::TemporaryFolder folder;
  const auto message = [&](const std::string& name, std::string bytes) {
    bytes.resize(5000, '\x55');
    std::ofstream(folder.path() / name, std::ios::binary) << bytes;
    return message_of(folder.path() / name);
  };
  using namespace std::string_literals;
  CHECK(message("a.m4a", "\0\0\0\x1C"s + "ftypM4A ").find("MPEG-4") != std::string::npos);
  CHECK(message("a.aac", "\xFF\xF1\x4C\x40").find("an AAC") != std::string::npos);
  CHECK(message("a.amr", "#!AMR\n").find("an AMR") != std::string::npos);
  CHECK(message("a.webm", "\x1A\x45\xDF\xA3").find("WebM") != std::string::npos);
  CHECK(message("a.wma", "\x30\x26\xB2\x75\x8E\x66\xCF\x11\xA6\xD9").find("a WMA") !=
        std::string::npos);
  // The command is one that a shell takes.
  const std::string odd = message("it's left.m4a", "\0\0\0\x1C"s + "ftypM4A ");
  const std::string from = shell_word((folder.path() / "it's left.m4a").string());
  const std::string to = shell_word((folder.path() / "it's left.wav").string());
  CHECK(odd.find("ffmpeg -i " + from + " " + to) != std::string::npos);
  // What is misnamed is not converted into itself.
  const std::string misnamed = message("b.wav", "#!AMR\n");
  CHECK(misnamed.find("b.converted.wav") != std::string::npos);
}

TEST_CASE("sound file: codes come back as they were, to the last one at both ends") {
  const test::TemporaryFolder folder;
  const std::vector<double> samples{-1.0, -0.5, 0.0, 0x1p-15, 0.5, 1.0 - 0x1p-15};
  for (const auto container : {Container::wav, Container::flac, Container::aiff}) {
    const fs::path path = folder.path() / extension(container);
    save(path, {Hertz(48000.0), 1, container, SampleType::pcm16, "", ""}, samples);
    CHECK(load(path) == samples);
  }
  save(folder.path() / "over.wav", {Hertz(48000.0), 1, Container::wav, SampleType::pcm16, "", ""},
       {1.5, -1.5});
  CHECK(load(folder.path() / "over.wav") == std::vector<double>{1.0 - 0x1p-15, -1.0});
}

TEST_CASE("sound file: 24 bits are unpacked as libsndfile unpacks them") {
  const test::TemporaryFolder folder;
  auto samples = ramp(50'007);  // over one block, and no multiple of four
  samples.insert(samples.end(), {-1.0, 1.0 - 0x1p-23, 0x1p-23, -0x1p-23, 0.0});
  for (const int channels : {1, 2, 3, 5}) {
    auto frames = samples;
    frames.resize(frames.size() / static_cast<std::size_t>(channels) *
                  static_cast<std::size_t>(channels));
    const SoundFileSpec wav{Hertz(48000.0), channels, Container::wav, SampleType::pcm24, "", ""};
    SoundFileSpec aiff = wav;
    aiff.container = Container::aiff;  // highest byte first: libsndfile's own conversion
    const std::string number = std::to_string(channels);
    save(folder.path() / (number + ".wav"), wav, frames);
    save(folder.path() / (number + ".aiff"), aiff, frames);
    const auto back = load(folder.path() / (number + ".wav"));
    CHECK(back.size() == frames.size());
    CHECK((back == load(folder.path() / (number + ".aiff"))));
  }
}

TEST_CASE("sound file: the same samples make the same bytes") {
  const test::TemporaryFolder folder;
  for (const auto container : {Container::wav, Container::flac, Container::aiff, Container::mp3}) {
    for (const auto type : {SampleType::pcm16, SampleType::float32}) {
      const SoundFileSpec spec{Hertz(44100.0), 2, container, type, "title", "comment"};
      if (!can_write(spec)) continue;
      const fs::path a = folder.path() / "a", b = folder.path() / "b";
      save(a, spec, ramp(20000));
      save(b, spec, ramp(20000));
      CHECK(files::read_file(a, 1000000) == files::read_file(b, 1000000));
      fs::remove(a);
      fs::remove(b);
    }
  }
}

TEST_CASE("sound file: a file cut short is refused") {
  const test::TemporaryFolder folder;
  const auto read_all = [](const fs::path& path) {
    const Source source = open_sound_file(path);
    pump(source, [](std::span<const double>) { return true; });
  };
  for (const auto container : {Container::wav, Container::aiff, Container::flac}) {
    const fs::path path = folder.path() / extension(container);
    save(path, {Hertz(48000.0), 1, container, SampleType::pcm16, "", ""}, ramp(100000));
    CHECK_NOTHROW(read_all(path));
    fs::resize_file(path, fs::file_size(path) / 2);
    CHECK_THROWS_WITH_AS(read_all(path), doctest::Contains("is cut short"), Error);
  }
}

TEST_CASE("sound file: a header with a rate that no recording has is refused") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "rate.wav";
  save(path, {Hertz(48000.0), 1, Container::wav, SampleType::pcm16, "", ""}, ramp(10000));
  std::string bytes = files::read_file(path, 100000);
  const auto with_rate = [&](const char* rate) {
    bytes.replace(24, 4, rate, 4);  // the rate [RIFF WAVE, chunk "fmt "]
    files::write_file(path, bytes, files::Overwrite::allow);
  };
  for (const char* rate : {"\xFF\xFF\xFF\x5F", "\x01\0\0\0", "\x04\0\0\0", "\xE7\x03\0\0"}) {
    with_rate(rate);
    CHECK_THROWS_WITH_AS(static_cast<void>(open_sound_file(path)),
                         doctest::Contains("samples a second"), Error);
  }
  with_rate("\xE8\x03\0\0");
  CHECK(open_sound_file(path).format.rate == Hertz(1000.0));
}

TEST_CASE("sound file: a header that promises 4 GiB is read to where the file ends, with a note") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "open.wav";
  save(path, {Hertz(48000.0), 1, Container::wav, SampleType::pcm16, "", ""}, ramp(10000));
  std::string bytes = files::read_file(path, 100000);
  const auto size_at = bytes.find("data") + 4;
  for (std::size_t i = 0; i < 4; ++i) bytes[size_at + i] = '\xff';
  files::write_file(path, bytes, files::Overwrite::allow);
  const Source source = open_sound_file(path);
  CHECK(pump(source, [](std::span<const double>) { return true; }) == 10000);
  CHECK(source.notes().size() == 1);
}

TEST_CASE("sound file: a lossy format is noted, for its level need not be what was recorded") {
  const test::TemporaryFolder folder;
  for (const auto container : {Container::wav, Container::flac, Container::aiff, Container::mp3}) {
    const bool lossy = container == Container::mp3;
    const SampleType samples = lossy ? SampleType::float32 : SampleType::pcm16;
    const SoundFileSpec spec{Hertz(48000.0), 1, container, samples, "", ""};
    if (!can_write(spec)) continue;
    const fs::path path = folder.path() / (std::string("any") + extension(container));
    save(path, spec, ramp(10000));
    const auto notes = open_sound_file(path).notes();
    REQUIRE(notes.size() == (lossy ? 1 : 0));
    if (lossy) CHECK(notes[0].find("lossy") != std::string::npos);
  }
}

TEST_CASE("sound file: a length that is too short for the sound behind it is not believed") {
  const test::TemporaryFolder folder;
  for (const SampleType samples : {SampleType::pcm16, SampleType::pcm24}) {
    const fs::path path = folder.path() / (samples == SampleType::pcm16 ? "16.wav" : "24.wav");
    save(path, {Hertz(48000.0), 1, Container::wav, samples, "", ""}, ramp(60000));
    const std::vector<double> whole = load(path);
    const std::string bytes = files::read_file(path, 1000000);
    const auto with_length = [&](std::size_t length) {
      std::string changed = bytes;
      const auto size_at = changed.find("data") + 4;
      for (std::size_t i = 0; i < 4; ++i)
        changed[size_at + i] = static_cast<char>(length >> 8 * i & 0xFF);
      files::write_file(path, changed, files::Overwrite::allow);
    };
    with_length(12000);
    CHECK(load(path) == whole);
    const Source source = open_sound_file(path);
    CHECK(source.format.frames == 60000);
    REQUIRE(source.notes().size() == 1);
    CHECK(source.notes()[0].find("holds 1.2 s of sound") != std::string::npos);
    // A recorder that is at work is a little ahead of its header.
    const std::size_t frame = samples == SampleType::pcm16 ? 2 : 3;
    with_length(frame * 50000);
    CHECK(load(path).size() == 50000);
    CHECK(open_sound_file(path).notes().empty());
  }
}

TEST_CASE("pump: what the consumer or the source throws arrives, and the reader ends") {
  Source endless{{Hertz(48000.0), 1, std::nullopt, "", std::nullopt},
                 [](std::span<double> x) { return x.size(); },
                 {}};
  CHECK_THROWS_AS(pump(endless, [](std::span<const double>) -> bool { throw Interrupted(); }),
                  Interrupted);
  Source broken = endless;
  broken.read = [](std::span<double>) -> std::size_t { throw Error("broken", "", ""); };
  CHECK_THROWS_AS(pump(broken, [](std::span<const double>) { return true; }), Error);
  int blocks = 0;
  pump(endless, [&](std::span<const double>) { return ++blocks < 10; });
  CHECK(blocks == 10);
}
