// SPDX-License-Identifier: MIT
// Output files: whole or not at all, and never in another file's place unasked.
#include "files/atomic_file.hpp"

#include <doctest/doctest.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <fstream>
#include <functional>
#include <string>
#include <vector>

#include "audio/sound_file.hpp"
#include "support/basics.hpp"
#include "units/error.hpp"

using namespace railtap;
using namespace railtap::files;
namespace fs = std::filesystem;

namespace {

std::string content_of(const fs::path& path) {
  return read_file(path, 1000);
}

std::string message_of(const std::function<void()>& action) {
  try {
    action();
  } catch (const Error& error) {
    return error.what();
  }
  return "";
}

bool contains(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

// Runs `action` in a child process whose files may grow to `most_bytes` only, which is what a full
// disk looks like; true when it threw an Error that speaks of making room.
bool fails_for_want_of_room(rlim_t most_bytes, const std::function<void()>& action) {
  const pid_t child = fork();
  if (child == 0) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{most_bytes, most_bytes};
    setrlimit(RLIMIT_FSIZE, &limit);
    const std::string message = message_of(action);
    _exit(contains(message, "make room") ? 7 : 1);
  }
  int status = 0;
  waitpid(child, &status, 0);
  return WIFEXITED(status) && WEXITSTATUS(status) == 7;
}

}  // namespace

TEST_CASE("atomic file: its name appears on commit, with the text and the usual permissions") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "a.txt";
  {
    AtomicFile file(path, Overwrite::refuse);
    file.write("hello");
    CHECK_FALSE(fs::exists(path));
    file.commit();
  }
  CHECK(content_of(path) == "hello");
  CHECK((fs::status(path).permissions() & fs::perms::owner_read) != fs::perms::none);
  CHECK(std::distance(fs::directory_iterator(folder.path()), fs::directory_iterator()) == 1);
}

TEST_CASE("atomic file: without commit nothing is left") {
  const test::TemporaryFolder folder;
  { AtomicFile(folder.path() / "a.txt", Overwrite::refuse).write("hello"); }
  CHECK(fs::is_empty(folder.path()));
}

TEST_CASE("atomic file: what a killed process left goes with the next file, and nothing else") {
  const test::TemporaryFolder folder;
  const fs::path& here = folder.path();
  const pid_t child = fork();
  if (child == 0) {
    const AtomicFile file(here / "tone.wav", Overwrite::refuse);
    const AtomicFile other(here / std::string(250, 'n'), Overwrite::refuse);
    std::raise(SIGKILL);
  }
  waitpid(child, nullptr, 0);
  REQUIRE(std::distance(fs::directory_iterator(here), fs::directory_iterator()) == 2);
  const AtomicFile in_use(here / "b.wav", Overwrite::refuse);
  CHECK(std::distance(fs::directory_iterator(here), fs::directory_iterator()) == 1);
  // What looks alike, and what is not a file of its own.
  const auto kept = {".profile.backup", ".tone.wav.railtap-abc", "tone.wav.railtap-abcdef",
                     ".tone.wav.railtap-abc.ef", ".railtap-abcdef"};
  for (const char* name : kept) std::ofstream(here / name) << "theirs";
  std::ofstream(here / "theirs") << "theirs";
  fs::create_symlink("theirs", here / ".link.railtap-abcdef");
  fs::create_hard_link(here / "theirs", here / ".hard.railtap-abcdef");
  fs::create_directory(here / ".folder.railtap-abcdef");
  REQUIRE(mkfifo((here / ".fifo.railtap-abcdef").c_str(), 0600) == 0);
  std::ofstream(here / ".gone.railtap-abcdef") << "ours, and nobody writes it";
  write_file(here / "c.txt", "x", Overwrite::refuse);
  for (const char* name : kept) CHECK(fs::exists(here / name));
  for (const char* name : {".link", ".hard", ".folder", ".fifo"})
    CHECK(fs::exists(fs::symlink_status(here / (name + std::string(".railtap-abcdef")))));
  CHECK(content_of(here / "theirs") == "theirs");
  CHECK_FALSE(fs::exists(here / ".gone.railtap-abcdef"));
}

TEST_CASE("atomic file: many processes that write and are killed leave one another's files alone") {
  const test::TemporaryFolder folder;
  std::vector<pid_t> children;
  constexpr int writers = 6, files_each = 60;
  for (int n = 0; n < writers; ++n) {
    const pid_t child = fork();
    if (child == 0) {
      for (int i = 0; i < files_each; ++i) {
        const fs::path path =
            folder.path() / (std::to_string(n) + "-" + std::to_string(i) + ".txt");
        const std::string failed =
            message_of([&] { write_file(path, "whole", Overwrite::refuse); });
        if (!failed.empty() || content_of(path) != "whole") _exit(1);
      }
      if (n % 2 == 0) _exit(0);
      const AtomicFile last(folder.path() / "unfinished", Overwrite::refuse);
      std::raise(SIGKILL);
    }
    children.push_back(child);
  }
  for (const pid_t child : children) {
    int status = 0;
    waitpid(child, &status, 0);
    CHECK((WIFSIGNALED(status) || WEXITSTATUS(status) == 0));
  }
  write_file(folder.path() / "end", "", Overwrite::refuse);
  CHECK(std::distance(fs::directory_iterator(folder.path()), fs::directory_iterator()) ==
        writers * files_each + 1);
}

TEST_CASE("temporary folder: it goes with its files, and so does one that a killed process left") {
  const test::TemporaryFolder parent;
  const auto folders = [&] {
    return std::distance(fs::directory_iterator(parent.path()), fs::directory_iterator());
  };
  {
    const TemporaryFolder folder(parent.path());
    std::ofstream(folder.path() / "recording.wav") << "sound";
  }
  CHECK(folders() == 0);
  const pid_t child = fork();
  if (child == 0) {
    const TemporaryFolder folder(parent.path());
    std::ofstream(folder.path() / "recording.wav") << "sound";
    std::raise(SIGKILL);
  }
  waitpid(child, nullptr, 0);
  REQUIRE(folders() == 1);
  // What looks alike: another name, a link to a folder, and one that holds a folder.
  fs::create_directory(parent.path() / "railtap-work-abc");
  std::ofstream(parent.path() / "railtap-work-abc" / "theirs") << "theirs";
  fs::create_directory_symlink("railtap-work-abc", parent.path() / "railtap-work-abcdef");
  fs::create_directories(parent.path() / "railtap-work-ghijkl" / "inner");
  std::ofstream(parent.path() / "railtap-work-ghijkl" / "inner" / "theirs") << "theirs";
  {
    const TemporaryFolder in_use(parent.path());
    std::ofstream(in_use.path() / "recording.wav") << "sound";
    const TemporaryFolder second(parent.path());
    CHECK(fs::exists(in_use.path() / "recording.wav"));
    CHECK(folders() == 5);
  }
  CHECK(folders() == 3);
  CHECK(fs::exists(parent.path() / "railtap-work-abc" / "theirs"));
  CHECK(fs::exists(parent.path() / "railtap-work-ghijkl" / "inner" / "theirs"));
}

TEST_CASE("temporary folder: no room for one is said") {
  CHECK(contains(message_of([] { const TemporaryFolder folder("/nonexistent"); }),
                 "cannot be written"));
}

TEST_CASE("atomic file: an existing file, folder or dangling link keeps its name") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "a.txt";
  write_file(path, "old", Overwrite::refuse);
  CHECK(contains(message_of([&] { write_file(path, "new", Overwrite::refuse); }), "--force"));
  CHECK(content_of(path) == "old");
  fs::create_symlink("nowhere", folder.path() / "link");
  CHECK(contains(message_of([&] { write_file(folder.path() / "link", "x", Overwrite::refuse); }),
                 "--force"));
  CHECK(contains(message_of([&] { write_file(folder.path(), "x", Overwrite::allow); }), "folder"));
  write_file(path, "new", Overwrite::allow);
  CHECK(content_of(path) == "new");
}

TEST_CASE("atomic file: - is standard input, never a file's name") {
  CHECK(contains(message_of([] { write_file("-", "x", Overwrite::allow); }), "standard input"));
  CHECK(contains(message_of([] { (void)audio::open_sound_file("-"); }), "more than once"));
}

TEST_CASE("atomic file: a name that was taken in the meantime is not replaced") {
  const test::TemporaryFolder folder;
  const fs::path path = folder.path() / "a.txt";
  AtomicFile file(path, Overwrite::refuse);
  file.write("mine");
  std::ofstream(path) << "theirs";
  CHECK(contains(message_of([&] { file.commit(); }), "--force"));
  CHECK(content_of(path) == "theirs");
}

TEST_CASE("atomic file: a missing folder and one that may not be written say so") {
  const test::TemporaryFolder folder;
  const fs::path missing = folder.path() / "none" / "a.txt";
  CHECK(
      contains(message_of([&] { write_file(missing, "x", Overwrite::refuse); }), missing.string()));
  if (geteuid() == 0) return;  // permissions do not bind root; tests/faults does this as another
  fs::permissions(folder.path(), fs::perms::owner_read | fs::perms::owner_exec);
  CHECK(contains(message_of([&] { write_file(folder.path() / "a.txt", "x", Overwrite::refuse); }),
                 "write to"));
  fs::permissions(folder.path(), fs::perms::owner_all);
}

TEST_CASE("atomic file: a full disk is an error and leaves nothing") {
  const test::TemporaryFolder folder;
  CHECK(fails_for_want_of_room(1000, [&] {
    write_file(folder.path() / "a.txt", std::string(5000, 'x'), Overwrite::refuse);
  }));
  CHECK(fs::is_empty(folder.path()));
}

TEST_CASE("sound file: a full disk is an error in every container, wherever it strikes") {
  const test::TemporaryFolder folder;
  using audio::Container;
  for (const auto container : {Container::wav, Container::flac, Container::aiff, Container::mp3}) {
    const audio::SoundFileSpec spec{Hertz(44100), 2, container, audio::SampleType::pcm16, "t", ""};
    if (!audio::can_write(spec)) continue;
    for (const rlim_t room : {rlim_t{10}, rlim_t{1000}, rlim_t{3000}, rlim_t{30000}}) {
      CAPTURE(static_cast<int>(container));
      CAPTURE(room);
      CHECK(fails_for_want_of_room(room, [&] {
        const auto sink =
            audio::create_sound_file(folder.path() / "t.snd", spec, Overwrite::refuse);
        std::vector<double> noise(200000);
        unsigned state = 1;
        for (double& x : noise)
          x = static_cast<double>(state = state * 1664525U + 1013904223U) * 1e-10;
        sink.write(noise);
        sink.commit();
      }));
      CHECK(fs::is_empty(folder.path()));
    }
  }
}

TEST_CASE("interrupt: Ctrl-C is noted, thrown at the next look, and leaves no file") {
  const test::TemporaryFolder folder;
  const pid_t child = fork();
  if (child == 0) {
    watch_for_interrupt();
    try {
      AtomicFile file(folder.path() / "a.txt", Overwrite::refuse);
      std::raise(SIGINT);
      throw_if_interrupted();
    } catch (const Interrupted&) {
      _exit(fs::is_empty(folder.path()) ? 7 : 1);
    }
    _exit(2);
  }
  int status = 0;
  waitpid(child, &status, 0);
  CHECK(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 7);
}
