// SPDX-License-Identifier: MIT
// The capture loop.
#include "live/capture.hpp"

#include <algorithm>
#include <bit>
#include <chrono>
#include <cmath>
#include <ctime>
#include <utility>

namespace railtap::live {
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
      files::write_file(sidecar_of(job_.file.path), report::capture_json(document_), overwrite);
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
