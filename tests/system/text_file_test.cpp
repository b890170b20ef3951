// SPDX-License-Identifier: MIT
// Text files: nothing is overwritten unasked, nothing half-written is left.
#include "system/text_file.hpp"

#include <doctest/doctest.h>

#include <string>

#include "units/error.hpp"

using namespace railtap;
namespace fs = std::filesystem;

namespace {

/// A folder of its own that goes when the test ends.
struct Folder {
  fs::path path = fs::temp_directory_path() / ("railtap_text_file_" + std::to_string(std::rand()));
  Folder() { fs::create_directories(path); }
  ~Folder() {
    std::error_code ignored;
    fs::remove_all(path, ignored);
  }
};

}  // namespace

TEST_CASE("text file: what is written is read back, and only that file is there") {
  const Folder folder;
  system::write_text_file(folder.path / "a.toml", "one\ntwo\n", false);
  CHECK(system::read_text_file(folder.path / "a.toml") == "one\ntwo\n");
  CHECK(std::distance(fs::directory_iterator(folder.path), fs::directory_iterator()) == 1);
}

TEST_CASE("text file: an existing file is kept, and replaced when forced") {
  const Folder folder;
  const auto file = folder.path / "a.toml";
  system::write_text_file(file, "old", false);
  CHECK_THROWS_AS(system::write_text_file(file, "new", false), Error);
  CHECK(system::read_text_file(file) == "old");
  system::write_text_file(file, "new", true);
  CHECK(system::read_text_file(file) == "new");
}

TEST_CASE(
    "text file: missing folders, missing files, folders and giants are errors that name them") {
  const Folder folder;
  CHECK_THROWS_AS(system::write_text_file(folder.path / "no" / "a.toml", "x", false), Error);
  CHECK_THROWS_AS((void)system::read_text_file(folder.path / "no.toml"), Error);
  CHECK_THROWS_AS((void)system::read_text_file(folder.path), Error);
  system::write_text_file(folder.path / "big", std::string(100, 'x'), false);
  CHECK_THROWS_AS((void)system::read_text_file(folder.path / "big", 99), Error);
}

TEST_CASE("text file: an empty file is read as empty text") {
  const Folder folder;
  system::write_text_file(folder.path / "empty", "", false);
  CHECK(system::read_text_file(folder.path / "empty").empty());
}
