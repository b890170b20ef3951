// SPDX-License-Identifier: MIT
// Small text files, read and written whole.
#include "system/text_file.hpp"

#include <fstream>
#include <iterator>

#include "units/error.hpp"

namespace railtap::system {
namespace fs = std::filesystem;

namespace {

[[noreturn]] void fail_to_write(const fs::path& path, const fs::path& partial) {
  std::error_code ignored;
  fs::remove(partial, ignored);
  throw Error(
      "the file cannot be written", path.string(),
      "check that the folder exists, that you may write there, and that the disk is not full");
}

}  // namespace

std::string read_text_file(const fs::path& path, std::size_t most_bytes) {
  std::error_code problem;
  if (!fs::exists(path, problem)) {
    throw Error("there is no such file", path.string(), "check its name");
  }
  if (!fs::is_regular_file(path, problem)) {
    throw Error("is not a file", path.string(), "name a text file");
  }
  if (fs::file_size(path, problem) > most_bytes) {
    throw Error("is larger than " + std::to_string(most_bytes) + " bytes", path.string(),
                "name a text file written by railtap or by hand");
  }
  std::ifstream file(path, std::ios::binary);
  std::string text{std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
  if (!file.good() && !file.eof()) {
    throw Error("the file cannot be read", path.string(), "check that you may read it");
  }
  return text;
}

void write_text_file(const fs::path& path, std::string_view text, bool force) {
  std::error_code problem;
  if (!force && fs::exists(path, problem)) {
    throw Error("the file exists", path.string(), "give another name, or --force to overwrite it");
  }
  const fs::path partial = path.string() + ".part";
  {
    std::ofstream file(partial, std::ios::binary | std::ios::trunc);
    file << text;
    file.close();
    if (!file) fail_to_write(path, partial);
  }
  fs::rename(partial, path, problem);
  if (problem) fail_to_write(path, partial);
}

}  // namespace railtap::system
