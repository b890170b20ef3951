// SPDX-License-Identifier: MIT
// The least that anything which reads a sound file must do: a bare libsndfile loop, to compare
// with.
#include <sndfile.h>

#include <cstdio>
#include <vector>

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "read_loop FILE\n");
    return 2;
  }
  SF_INFO info{};
  SNDFILE* file = sf_open(argv[1], SFM_READ, &info);
  if (file == nullptr) {
    std::fprintf(stderr, "read_loop: %s\n", sf_strerror(nullptr));
    return 2;
  }
  constexpr sf_count_t frames_at_once = 65536;
  std::vector<double> block(static_cast<std::size_t>(frames_at_once * info.channels));
  sf_count_t frames = 0;
  double sum = 0.0;  // something of every block is used, so that none can be left out
  while (const sf_count_t got = sf_readf_double(file, block.data(), frames_at_once)) {
    frames += got;
    sum += block[0];
  }
  sf_close(file);
  std::printf("%lld frames, %g\n", static_cast<long long>(frames), sum);
  return 0;
}
