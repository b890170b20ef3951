// SPDX-License-Identifier: MIT
// The capture loop, and the file that it writes.
#include "live/capture.hpp"

#include <fcntl.h>
#include <sndfile.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <bit>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstring>
#include <ctime>
#include <limits>
#include <optional>
#include <utility>
#include <vector>

#include "signal/generator.hpp"

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

// Leaves whole frames and a header with their number.
void CaptureFile::State::out_of_room(int reason) {
  const std::int64_t frames =
      std::max<std::int64_t>(size_of(descriptor) - header, 0) / frame_bytes();
  // Making a file shorter needs no room; should it fail, a reader ignores the part of a frame.
  if (ftruncate(descriptor, header + frames * frame_bytes()) != 0) errno = 0;
  sf_command(sound, SFC_UPDATE_HEADER_NOW, nullptr, 0);
  throw DiskFull(std::string("the recording stopped because it cannot be written (") +
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

namespace {

using report::CaptureDocument;
using report::CaptureEnd;

constexpr Seconds block_length{0.1};
constexpr double keep_every_s = 1.0;
constexpr double code_full_scale = 2147483648.0;  // 2^31
// Within a 16-bit code of full scale, whatever the input's real number of bits.
constexpr std::int32_t high_limit = 0x7FFF0000;
constexpr std::int32_t low_limit = -0x7FFF0000;

std::string local_time() {
  const std::time_t now = std::time(nullptr);
  std::tm broken{};
  localtime_r(&now, &broken);
  char text[40];
  std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%S%z", &broken);
  return text;
}

double seconds_now() {
  using namespace std::chrono;
  return duration<double>(steady_clock::now().time_since_epoch()).count();
}

// Extremes of one channel, over all and since the last progress.
class Extremes {
 public:
  void add(std::span<const std::int32_t> codes, std::size_t first, std::size_t stride) {
    for (std::size_t i = first; i < codes.size(); i += stride) {
      const std::int32_t code = codes[i];
      used_ |= static_cast<std::uint32_t>(code);
      const std::int64_t size = std::abs(static_cast<std::int64_t>(code));
      recent_ = std::max(recent_, size);
      count_full_scale(code);
    }
    peak_ = std::max(peak_, recent_);
  }
  // The peak since this was last asked for.
  std::int64_t take_recent() { return std::exchange(recent_, 0); }
  [[nodiscard]] std::uint32_t used() const { return used_; }
  [[nodiscard]] report::CaptureChannel channel() const;

 private:
  void count_full_scale(std::int32_t code) {
    const int side = code >= high_limit ? 1 : code <= low_limit ? -1 : 0;
    run_ = side != 0 && side == side_ ? run_ + 1 : (side != 0 ? 1 : 0);
    side_ = side;
    if (side != 0) ++full_scale_;
    longest_ = std::max(longest_, run_);
  }

  std::int64_t recent_ = 0, peak_ = 0;
  std::int64_t full_scale_ = 0, run_ = 0, longest_ = 0;
  int side_ = 0;
  std::uint32_t used_ = 0;
};

std::optional<Dbfs> level_of(std::int64_t peak) {
  if (peak == 0) return std::nullopt;
  return dbfs_from_sine_peak(static_cast<double>(peak) / code_full_scale);
}

report::CaptureChannel Extremes::channel() const {
  return {level_of(peak_), full_scale_, longest_};
}

// A capture that is running.
class Run {
 public:
  Run(audio::InputStream& input, const CaptureJob& job, CaptureFile& file)
      : input_(input),
        job_(job),
        file_(file),
        rate_(input.format().rate),
        channels_(static_cast<std::size_t>(input.format().channels)),
        extremes_(channels_),
        block_(channels_ * frames_in(block_length)) {
    describe_input();
    write_sidecar(job.file.overwrite);
  }

  CaptureDocument record() {
    last_kept_s_ = seconds_now();
    CaptureEnd end = CaptureEnd::running;
    while (end == CaptureEnd::running) end = step();
    input_.stop();
    document_.end = end;
    finish_counts();
    write_sidecar(files::Overwrite::allow);
    return document_;
  }

 private:
  [[nodiscard]] std::size_t frames_in(Seconds length) const {
    return static_cast<std::size_t>(std::llround(length.value() * rate_.value()));
  }

  CaptureEnd step() {
    const std::size_t frames = gather();
    const auto codes = std::span<const std::int32_t>(block_).first(frames * channels_);
    try {
      if (frames > 0) file_.write(codes);
    } catch (const DiskFull&) {
      return CaptureEnd::disk_full;
    }
    written_ += static_cast<std::int64_t>(frames);
    for (std::size_t c = 0; c < channels_; ++c) extremes_[c].add(codes, c, channels_);
    keep_now_and_then();
    if (job_.progress) tell();
    if (job_.length && written_ >= wanted()) return CaptureEnd::duration;
    if (file_.room() <= 0) return CaptureEnd::size_limit;
    if (input_.end() == audio::StreamEnd::vanished && frames == 0)
      return CaptureEnd::device_vanished;
    return job_.stop() ? CaptureEnd::interrupt : CaptureEnd::running;
  }

  // A block, or less when the input ends, pauses, or enough is recorded.
  std::size_t gather() {
    std::int64_t most =
        std::min<std::int64_t>(static_cast<std::int64_t>(block_.size() / channels_), file_.room());
    if (job_.length) most = std::min(most, wanted() - written_);
    const auto limit = static_cast<std::size_t>(std::max<std::int64_t>(most, 0));
    std::size_t have = 0;
    const double until_s = seconds_now() + block_length.value();
    while (have < limit) {
      const double left_s = until_s - seconds_now();
      if (left_s <= 0.0) break;
      const auto rest = std::span(block_).subspan(have * channels_, (limit - have) * channels_);
      const std::size_t got = input_.read(rest, Seconds(left_s));
      have += got;
      if (got == 0) break;
    }
    return have;
  }

  [[nodiscard]] std::int64_t wanted() const {
    return std::llround(job_.length->value() * rate_.value());
  }

  void keep_now_and_then() {
    const double now_s = seconds_now();
    if (now_s - last_kept_s_ < keep_every_s) return;
    last_kept_s_ = now_s;
    file_.keep();
    if (input_.continuity().gaps().size() == document_.gaps.size()) return;
    finish_counts();
    write_sidecar(files::Overwrite::allow);
  }

  void tell() {
    CaptureProgress progress;
    progress.recorded = Seconds(static_cast<double>(written_) / rate_.value());
    progress.places_with_losses = static_cast<std::int64_t>(input_.continuity().gaps().size());
    for (Extremes& channel : extremes_) {
      const std::int64_t peak = channel.take_recent();
      progress.peaks.push_back(level_of(peak));
      progress.clipped_now = progress.clipped_now || peak >= high_limit;
    }
    job_.progress(progress);
  }

  void describe_input() {
    document_.file = job_.file.path.string();
    document_.started = local_time();
    document_.device = input_.device().name;
    document_.host = input_.device().host;
    document_.rate = rate_;
    document_.bits = job_.file.bits;
    document_.latency = input_.latency();
    document_.channels.resize(channels_);
  }

  void finish_counts() {
    document_.frames = file_.frames();
    document_.gaps = input_.continuity().gaps();
    document_.lost_frames = input_.continuity().lost();
    document_.driver_overflows = input_.continuity().driver_overflows();
    document_.worst_backlog = input_.worst_backlog();
    std::uint32_t used = 0;
    for (std::size_t c = 0; c < channels_; ++c) {
      document_.channels[c] = extremes_[c].channel();
      used |= extremes_[c].used();
    }
    if (used != 0) document_.bits_used = 32 - std::countr_zero(used);
  }

  // A full disk has room for the recording's last header, and perhaps none for the sidecar.
  void write_sidecar(files::Overwrite overwrite) {
    try {
      files::write_file(sidecar_of(job_.file.path), report::capture_json(document_).page(),
                        overwrite);
    } catch (const Error&) {
      if (document_.end != CaptureEnd::disk_full) throw;
    }
  }

  audio::InputStream& input_;
  const CaptureJob& job_;
  CaptureFile& file_;
  Hertz rate_;
  std::size_t channels_;
  std::vector<Extremes> extremes_;
  std::vector<std::int32_t> block_;
  std::int64_t written_ = 0;
  double last_kept_s_ = 0.0;
  CaptureDocument document_;
};

}  // namespace

std::filesystem::path sidecar_of(const std::filesystem::path& recording) {
  return recording.string() + ".json";
}

CaptureDocument capture(audio::InputStream& input, const CaptureJob& job) {
  CaptureFileSpec spec = job.file;
  spec.rate = input.format().rate;
  spec.channels = input.format().channels;
  CaptureFile file(spec);
  return Run(input, job, file).record();
}

}  // namespace railtap::live
