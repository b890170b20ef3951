// SPDX-License-Identifier: MIT
// Runs a command and says on standard error how long it took and how much memory it had at most.
//
// A process inherits the peak of the one that started it, so a small program has to do the
// starting: under Python, everything would seem to need what Python needs.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fprintf(stderr, "measure COMMAND [ARGUMENT…]\n");
    return 2;
  }
  const auto started = std::chrono::steady_clock::now();
  const pid_t child = fork();
  if (child == 0) {
    execv(argv[1], argv + 1);
    _exit(127);
  }
  int status = 0;
  rusage usage{};
  if (child < 0 || wait4(child, &status, 0, &usage) < 0) return 2;
  const std::chrono::duration<double> seconds = std::chrono::steady_clock::now() - started;
  std::fprintf(stderr, "%.4f %.1f\n", seconds.count(),
               static_cast<double>(usage.ru_maxrss) / 1024.0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}
