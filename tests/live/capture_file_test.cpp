// SPDX-License-Identifier: MIT
// The file that a recording grows in: readable at every moment, codes as they came.
#include "live/capture.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <vector>

#include "audio/sound_file.hpp"
#include "support/basics.hpp"

namespace {

using namespace railtap;
using live::CaptureFile;
using live::CaptureFileSpec;

CaptureFileSpec spec_of(const std::filesystem::path& path, int bits) {
  return {path, Hertz(48000.0), 2, bits, files::Overwrite::refuse};
}

std::vector<double> read_all(const std::filesystem::path& path) {
  const audio::Source source = audio::open_sound_file(path);
  std::vector<double> all;
  std::vector<double> block(4096);
  while (const std::size_t frames = source.read(block)) {
    all.insert(all.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(2 * frames));
  }
  return all;
}

TEST_CASE("capture file: it can be read while it grows, and holds all that was written") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "growing.wav";
  CaptureFile file(spec_of(path, 24));
  const std::vector<std::int32_t> codes{256, -256, 0x7FFFFF00, -0x7FFFFFFF - 1};
  for (std::size_t blocks = 1; blocks <= 3; ++blocks) {
    file.write(codes);
    CHECK(file.frames() == static_cast<std::int64_t>(2 * blocks));
    const auto samples = read_all(path);
    REQUIRE(samples.size() == 4 * blocks);
    for (std::size_t i = 0; i < samples.size(); ++i) CHECK(samples[i] == codes[i % 4] * 0x1p-31);
  }
}

TEST_CASE(
    "capture file: codes between those of the file go to the nearest, and hold at full scale") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "rounded.wav";
  {
    CaptureFile file(spec_of(path, 24));
    file.write(std::vector<std::int32_t>{127, 128, 0x7FFFFFFF, -0x7FFFFFFF - 1});
  }
  const auto samples = read_all(path);
  CHECK(samples[0] == 0.0);
  CHECK(samples[1] == 0x1p-23);
  CHECK(samples[2] == 1.0 - 0x1p-23);
  CHECK(samples[3] == -1.0);
}

TEST_CASE(
    "capture file: to 16 bits it dithers what has more, and leaves what has no more as it is") {
  const test::TemporaryFolder folder;
  constexpr std::size_t count = 48000;
  std::vector<std::int32_t> coarse(2 * count);
  std::vector<std::int32_t> fine(2 * count);
  for (std::size_t i = 0; i < fine.size(); ++i) {
    coarse[i] = static_cast<std::int32_t>(i % 100) * 65536;
    fine[i] = 20000;  // 0.305 of a 16-bit code
  }
  {
    CaptureFile file(spec_of(folder.path() / "coarse.wav", 16));
    file.write(coarse);
    CaptureFile other(spec_of(folder.path() / "fine.wav", 16));
    other.write(fine);
  }
  const auto exact = read_all(folder.path() / "coarse.wav");
  bool same = exact.size() == coarse.size();
  for (std::size_t i = 0; same && i < exact.size(); ++i) same = exact[i] == coarse[i] * 0x1p-31;
  CHECK(same);
  // Triangular dither keeps the mean, and leaves an error of step²/4 whatever the value.
  double mean = 0.0;
  double error = 0.0;
  for (const double sample : read_all(folder.path() / "fine.wav")) {
    mean += sample * 32768.0 / static_cast<double>(fine.size());
    const double wrong = sample * 32768.0 - 20000.0 / 65536.0;
    error += wrong * wrong / static_cast<double>(fine.size());
  }
  CHECK(test::within_abs(mean, 20000.0 / 65536.0, 0.01));
  CHECK(test::within_rel(error, 0.25, 0.03));
}

TEST_CASE("capture file: a name that is taken is refused, and replaced where that is allowed") {
  const test::TemporaryFolder folder;
  const auto path = folder.path() / "taken.wav";
  std::ofstream(path) << "a recording that can't be made again";
  CHECK_THROWS_AS(CaptureFile{spec_of(path, 24)}, Error);
  CHECK(std::filesystem::file_size(path) == 36);
  CaptureFileSpec spec = spec_of(path, 24);
  spec.overwrite = files::Overwrite::allow;
  CaptureFile file(spec);
  file.write(std::vector<std::int32_t>(20, 256));
  CHECK(read_all(path).size() == 20);
}

TEST_CASE(
    "capture file: a link is a name that is taken, and what is behind it is never written to") {
  const test::TemporaryFolder folder;
  const auto link = folder.path() / "link.wav", behind = folder.path() / "behind.wav";
  std::filesystem::create_symlink(behind, link);
  CHECK_THROWS_AS(CaptureFile{spec_of(link, 24)}, Error);
  CHECK_FALSE(std::filesystem::exists(behind));
  std::ofstream(behind) << "a recording that can't be made again";
  CHECK_THROWS_AS(CaptureFile{spec_of(link, 24)}, Error);
  CaptureFileSpec spec = spec_of(link, 24);
  spec.overwrite = files::Overwrite::allow;
  CaptureFile file(spec);
  file.write(std::vector<std::int32_t>(20, 256));
  CHECK_FALSE(std::filesystem::is_symlink(link));
  CHECK(read_all(link).size() == 20);
  CHECK(std::filesystem::file_size(behind) == 36);
}

TEST_CASE("capture file: other endings and odd bits are refused before anything is made") {
  const test::TemporaryFolder folder;
  CHECK_THROWS_AS(CaptureFile{spec_of(folder.path() / "x.flac", 24)}, Error);
  CHECK_THROWS_AS(CaptureFile{spec_of(folder.path() / "x.wav", 20)}, Error);
  CHECK(std::filesystem::is_empty(folder.path()));
}

}  // namespace
