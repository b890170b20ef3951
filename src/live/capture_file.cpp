// SPDX-License-Identifier: MIT
// The growing WAV file, through libsndfile.
#include "live/capture_file.hpp"

#include <fcntl.h>
#include <sndfile.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <limits>
#include <optional>
#include <vector>

#include "signal/random.hpp"

namespace railtap::live {
namespace {

// A WAV file counts its bytes in 32 bits [RIFF, Microsoft/IBM 1991]; some for the header.
constexpr std::int64_t largest_file = 0xFFFFFFFFLL - 4096;
constexpr int code_bits = 32;

int format_of(int bits) {
  switch (bits) {
    case 16:
      return SF_FORMAT_WAV | SF_FORMAT_PCM_16;
    case 24:
      return SF_FORMAT_WAV | SF_FORMAT_PCM_24;
    case 32:
      return SF_FORMAT_WAV | SF_FORMAT_PCM_32;
    default:
      throw Error("a recording cannot have " + std::to_string(bits) + " bits", "--bits",
                  "give 16, 24 or 32");
  }
}

void require_wav(const std::filesystem::path& path) {
  std::string ending = path.extension().string();
  for (char& c : ending) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  if (ending == ".wav") return;
  throw Error("recordings are WAV files, which stay readable while they grow", path.string(),
              "give a name that ends in .wav, and convert the recording afterwards");
}

std::int64_t size_of(int descriptor) {
  struct stat status {};
  return fstat(descriptor, &status) == 0 ? status.st_size : 0;
}

}  // namespace

struct CaptureFile::State {
  CaptureFileSpec spec;
  int descriptor = -1;
  SNDFILE* sound = nullptr;
  std::int64_t header = 0;  // bytes before the samples
  std::vector<std::int32_t> rounded;
  signal::Random random{0x63617074757265ULL};

  void open();
  [[nodiscard]] std::int64_t frame_bytes() const {
    return std::int64_t{spec.channels} * (spec.bits / 8);
  }
  void round(std::span<const std::int32_t> codes);
  [[noreturn]] void out_of_room(int reason);
};

void CaptureFile::State::open() {
  const int format = format_of(spec.bits);
  require_wav(spec.path);
  // An empty file takes the name at once and, where that is allowed, another's place in one step.
  files::AtomicFile file(spec.path, spec.overwrite);
  descriptor = fcntl(file.descriptor(), F_DUPFD_CLOEXEC, 0);
  file.commit();
  SF_INFO info{};
  info.samplerate = static_cast<int>(std::lround(spec.rate.value()));
  info.channels = spec.channels;
  info.format = format;
  sound = sf_open_fd(descriptor, SFM_WRITE, &info, SF_FALSE);
  if (sound == nullptr) {
    const Error error(std::string("cannot be begun (") + sf_strerror(nullptr) + ")",
                      spec.path.string(), "check that the disk has room");
    unlink(spec.path.c_str());
    throw error;
  }
  sf_command(sound, SFC_UPDATE_HEADER_NOW, nullptr, 0);
  header = size_of(descriptor);
}

// To the nearest code of the file, left-justified, held at the ends.
void CaptureFile::State::round(std::span<const std::int32_t> codes) {
  const int dropped = code_bits - spec.bits;
  rounded.assign(codes.begin(), codes.end());
  if (dropped == 0) return;
  const std::int64_t step = std::int64_t{1} << dropped;
  const std::int64_t highest = std::numeric_limits<std::int32_t>::max() - (step - 1);
  const bool exact =
      std::all_of(codes.begin(), codes.end(), [step](std::int32_t c) { return c % step == 0; });
  if (exact) return;
  // 24 bits lie below the noise of every input, which dithers them; 16 do not.
  const bool dithered = spec.bits <= 16;
  for (std::int32_t& code : rounded) {
    std::int64_t value = code;
    if (dithered) {
      const double noise = (random.uniform() - random.uniform()) * static_cast<double>(step);
      value += static_cast<std::int64_t>(noise);
    }
    value = (value + step / 2) & ~(step - 1);
    code = static_cast<std::int32_t>(
        std::clamp<std::int64_t>(value, std::numeric_limits<std::int32_t>::min(), highest));
  }
}

// Leaves whole frames and a header that says how many.
void CaptureFile::State::out_of_room(int reason) {
  const std::int64_t frames =
      std::max<std::int64_t>(size_of(descriptor) - header, 0) / frame_bytes();
  // Making a file shorter needs no room; should it fail, a reader ignores the part of a frame.
  if (ftruncate(descriptor, header + frames * frame_bytes()) != 0) errno = 0;
  sf_command(sound, SFC_UPDATE_HEADER_NOW, nullptr, 0);
  throw DiskFull(std::string("the recording stopped because it can't be written (") +
                     std::strerror(reason == 0 ? ENOSPC : reason) + ")",
                 spec.path.string(),
                 "what was recorded until then is there; make room on the disk");
}

CaptureFile::CaptureFile(const CaptureFileSpec& spec) : state_(std::make_unique<State>()) {
  state_->spec = spec;
  state_->open();
}

CaptureFile::~CaptureFile() {
  sf_close(state_->sound);
  fsync(state_->descriptor);
  close(state_->descriptor);
}

void CaptureFile::write(std::span<const std::int32_t> codes) {
  State& s = *state_;
  s.round(codes);
  const auto count = static_cast<sf_count_t>(s.rounded.size()) / s.spec.channels;
  errno = 0;
  if (sf_writef_int(s.sound, s.rounded.data(), count) != count) s.out_of_room(errno);
  sf_command(s.sound, SFC_UPDATE_HEADER_NOW, nullptr, 0);
}

void CaptureFile::keep() {
  fdatasync(state_->descriptor);
}

std::int64_t CaptureFile::frames() const {
  return (size_of(state_->descriptor) - state_->header) / state_->frame_bytes();
}

std::int64_t CaptureFile::room() const {
  return (largest_file - size_of(state_->descriptor)) / state_->frame_bytes();
}

}  // namespace railtap::live
