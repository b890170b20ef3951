// SPDX-License-Identifier: MIT
// Sound files, read and written through libsndfile; and the bytes of a recording as it asks for
// them, with what it does not report: that a read failed.
#include "audio/sound_file.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cerrno>
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <limits>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include <fcntl.h>
#include <sndfile.h>
#include <sys/stat.h>
#include <unistd.h>

#include "files/atomic_file.hpp"
#include "units/error.hpp"
#include "units/print.hpp"
#include "units/visible.hpp"

namespace railtap::audio {

// Reads that fail are remembered.

namespace {

FileBytes& bytes_of(void* self) {
  return *static_cast<FileBytes*>(self);
}

}  // namespace

FileBytes::FileBytes(const std::filesystem::path& path)
    : path_(path), descriptor_(::open(path.c_str(), O_RDONLY | O_CLOEXEC)) {
  if (descriptor_ >= 0) return;
  throw Error(std::string("is not a sound file that can be read (") + std::strerror(errno) + ")",
              path_.string(), "check who may read it");
}

FileBytes::~FileBytes() {
  close(descriptor_);
}

SNDFILE* FileBytes::open(SF_INFO& info) {
  struct stat about {};
  if (fstat(descriptor_, &about) == 0 && !S_ISREG(about.st_mode)) {
    return sf_open_fd(descriptor_, SFM_READ, &info, SF_FALSE);
  }
  SF_VIRTUAL_IO calls{&FileBytes::length, &FileBytes::seek, &FileBytes::read, nullptr,
                      &FileBytes::tell};
  return sf_open_virtual(&calls, SFM_READ, &info, this);
}

void FileBytes::check() const {
  if (failure_ == 0) return;
  throw Error(std::string("cannot be read to its end (") + std::strerror(failure_) + ")",
              path_.string(), "copy the file again from where it was recorded");
}

void FileBytes::put(std::int64_t at, std::uint32_t number) {
  constexpr unsigned byte_bits = 8;
  Number put{at, {}};
  for (char& byte : put.bytes) {
    byte = static_cast<char>(number & 0xFFU);
    number >>= byte_bits;
  }
  put_.push_back(put);
}

void FileBytes::put_numbers(std::span<char> read, std::int64_t from) const {
  const auto end = from + static_cast<std::int64_t>(read.size());
  for (const Number& number : put_) {
    for (std::size_t i = 0; i < number.bytes.size(); ++i) {
      const std::int64_t at = number.at + static_cast<std::int64_t>(i);
      if (at >= from && at < end) read[static_cast<std::size_t>(at - from)] = number.bytes[i];
    }
  }
}

sf_count_t FileBytes::noted(sf_count_t result) {
  if (result < 0 && failure_ == 0) failure_ = errno;
  return result;
}

sf_count_t FileBytes::length(void* self) {
  FileBytes& bytes = bytes_of(self);
  struct stat about {};
  return bytes.noted(fstat(bytes.descriptor_, &about)) < 0 ? 0 : about.st_size;
}

sf_count_t FileBytes::seek(sf_count_t offset, int whence, void* self) {
  FileBytes& bytes = bytes_of(self);
  return lseek(bytes.descriptor_, offset, whence);  // to try a place that is not there is allowed
}

sf_count_t FileBytes::read(void* bytes, sf_count_t count, void* self) {
  FileBytes& file = bytes_of(self);
  const sf_count_t from = file.put_.empty() ? 0 : tell(self);
  sf_count_t got = 0;
  while (got < count) {
    const ssize_t more = ::read(file.descriptor_, static_cast<char*>(bytes) + got,
                                static_cast<std::size_t>(count - got));
    if (more < 0 && errno == EINTR) continue;
    if (file.noted(more) <= 0) break;
    got += more;
  }
  file.put_numbers({static_cast<char*>(bytes), static_cast<std::size_t>(got)}, from);
  return got;
}

sf_count_t FileBytes::tell(void* self) {
  return seek(0, SEEK_CUR, self);
}

// Sound files through libsndfile.

namespace {

namespace fs = std::filesystem;

struct CloseFile {
  void operator()(SNDFILE* file) const { sf_close(file); }
};
using File = std::unique_ptr<SNDFILE, CloseFile>;

int bits_of(int format) {
  switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
      return 8;
    case SF_FORMAT_PCM_16:
    case SF_FORMAT_ALAC_16:
      return 16;
    case SF_FORMAT_ALAC_20:
      return 20;
    case SF_FORMAT_PCM_24:
    case SF_FORMAT_ALAC_24:
      return 24;
    case SF_FORMAT_PCM_32:
    case SF_FORMAT_ALAC_32:
      return 32;
    default:
      return 0;
  }
}

std::string format_name(int command, int format) {
  SF_FORMAT_INFO info{};
  info.format = format;
  if (sf_command(nullptr, command, &info, sizeof info) != 0 || info.name == nullptr)
    return "unknown";
  return info.name;
}

std::string encoding_of(int format) {
  const std::string container = format_name(SFC_GET_FORMAT_INFO, format & SF_FORMAT_TYPEMASK);
  const std::string samples = format_name(SFC_GET_FORMAT_INFO, format & SF_FORMAT_SUBMASK);
  return container + ", " + samples;
}

void require_readable_file(const fs::path& path) {
  std::error_code failure;
  const auto status = fs::status(path, failure);
  if (!fs::exists(status))
    throw Error("there is no such file", path.string(), "check the name and the folder");
  if (fs::is_directory(status))
    throw Error("is a folder, not a recording", path.string(), "name a file in it");
  if (fs::is_regular_file(status) && fs::file_size(path, failure) == 0) {
    throw Error("the file is empty", path.string(),
                "record again, and check that the disk has room");
  }
}

// What libsndfile does not read and the first bytes name, in words; empty for anything else.
// [ISO/IEC 14496-12, 4.3; ISO/IEC 13818-7, 6.2; RFC 4867, 5.1; RFC 8794, 11.2.1; the ASF header's
// GUID, from memory]
std::string known_by_first_bytes(const fs::path& path) {
  using namespace std::string_view_literals;
  constexpr std::size_t enough = 16;
  std::array<char, enough> head{};
  std::ifstream(path, std::ios::binary).read(head.data(), head.size());
  const std::string_view bytes(head.data(), head.size());
  if (bytes.substr(4, 4) == "ftyp") return "an MPEG-4 recording (M4A, MP4, 3GP)";
  if (bytes.starts_with("#!AMR")) return "an AMR recording";
  if (bytes.starts_with("\x1A\x45\xDF\xA3"sv)) return "a Matroska or WebM recording";
  if (bytes.starts_with("\x30\x26\xB2\x75\x8E\x66\xCF\x11"sv)) return "a WMA recording";
  const bool adts = bytes[0] == '\xFF' && (static_cast<unsigned char>(bytes[1]) & 0xF6U) == 0xF0U;
  if (adts || bytes.starts_with("ADIF")) return "an AAC recording";
  return "";
}

// A name that no program takes for an option or a protocol.
fs::path as_argument(const fs::path& path) {
  const std::string& name = path.native();
  const bool odd = name.starts_with('-') || name.find(':') != std::string::npos;
  return odd && !name.starts_with('.') && !name.starts_with('/') ? "." / path : path;
}

Error not_readable(const fs::path& path, const char* reason) {
  const std::string what = known_by_first_bytes(path);
  if (what.empty()) {
    return {std::string("is not a sound file that can be read (") + reason + ")", path.string(),
            "give a WAV, FLAC, AIFF, Ogg or MP3 recording"};
  }
  const fs::path from = as_argument(path);
  fs::path to = from;
  to.replace_extension(from.extension() == ".wav" ? ".converted.wav" : ".wav");
  return {"is " + what + ", which is not read here", path.string(),
          "make a WAV file of it: ffmpeg -i " + visible(shell_word(from.string())) + " " +
              visible(shell_word(to.string())) + " (or record WAV, which loses nothing)"};
}

// libsndfile's log of an open file: its header's fields, line by line.
std::string header_log(SNDFILE* file) {
  std::string log(16384, '\0');
  const int length = sf_command(file, SFC_GET_LOG_INFO, log.data(), static_cast<int>(log.size()));
  log.resize(static_cast<std::size_t>(std::max(length, 0)));
  return log;
}

// The length in a header.
enum class Length { right, unknown, too_long };

// Compares what the header promises with what the file holds. libsndfile puts it right in silence
// and notes it in its log: "data : 529200 (should be 264578)". A recorder that streams does not
// know the length and promises the most there is, or 2 GiB less a header; if it never came back to
// correct that, nothing need be missing.
Length length_in_header(const std::string& log) {
  constexpr unsigned long long a_streams_promise = 0x7FFF0000;
  for (const char* chunk : {"data :", "SSND :", "Data Size   :"}) {
    const auto start = log.find(chunk);
    if (start == std::string::npos) continue;
    const std::string line = log.substr(start, log.find('\n', start) - start);
    const auto should = line.find("(should be ");
    if (should == std::string::npos) continue;
    const auto number = [&line](std::size_t from) {
      return std::strtoull(line.c_str() + from, nullptr, 10);
    };
    const auto promised = number(std::strlen(chunk));
    if (promised <= number(should + std::strlen("(should be "))) continue;
    return promised >= a_streams_promise ? Length::unknown : Length::too_long;
  }
  return Length::right;
}

// The chunk of a WAV file that holds its samples, with a length that is too short for them.
struct ShortData {
  std::int64_t length_at = 0;  // byte of the length in the header
  std::int64_t promised = 0;   // bytes
  std::int64_t there = 0;      // bytes, whole frames
  std::int64_t bytes_a_second = 0;
};

// Little-endian numbers of a file; 0 beyond its end.
class Numbers {
 public:
  explicit Numbers(const fs::path& path) : file_(path, std::ios::binary) {}
  std::string text(std::int64_t at, std::size_t length) {
    std::string bytes(length, '\0');
    file_.clear();
    file_.seekg(at);
    file_.read(bytes.data(), static_cast<std::streamsize>(length));
    failed_ = failed_ || file_.bad();
    return bytes;
  }
  std::int64_t number(std::int64_t at, std::size_t bytes) {
    constexpr unsigned byte_bits = 8;
    std::int64_t value = 0;
    const std::string read = text(at, bytes);
    for (std::size_t i = bytes; i-- > 0;)
      value = value << byte_bits | static_cast<unsigned char>(read[i]);
    return value;
  }
  // A read failed, and what was given since may be wrong.
  [[nodiscard]] bool failed() const { return failed_; }

 private:
  std::ifstream file_;
  bool failed_ = false;
};

constexpr std::int64_t chunk_head = 8;  // name and length [RIFF]

// Whether a chunk begins at a byte: a name that can be read, and room for its length.
bool is_chunk(Numbers& file, std::int64_t at, std::int64_t end) {
  const std::string name = file.text(at, 4);
  return std::all_of(name.begin(), name.end(), [](char c) { return c >= ' ' && c <= '~'; }) &&
         at + chunk_head + file.number(at + 4, 4) <= end + 1;
}

// Whether a part of the file is not mostly zeros, with which some recorders fill it up.
bool is_filled(Numbers& file, std::int64_t from, std::int64_t to) {
  constexpr int places = 64;
  constexpr std::size_t length = 64;
  int filled = 0;
  for (int i = 0; i < places; ++i) {
    const std::string bytes = file.text(from + (to - from) / places * i, length);
    if (bytes.find_first_not_of('\0') != std::string::npos) ++filled;
  }
  return 2 * filled > places;
}

// A recorder that crashed may leave a length from its beginning. What follows the samples otherwise
// is a chunk; half a second and more that is none is sound. Shorter is what a recorder at work has
// not yet counted.
std::optional<ShortData> short_data(const fs::path& path) {
  constexpr std::int64_t first_chunk = 12;
  std::error_code failure;
  if (!fs::is_regular_file(path, failure)) return std::nullopt;
  const auto end = static_cast<std::int64_t>(fs::file_size(path, failure));
  Numbers file(path);
  if (failure || file.text(0, 4) != "RIFF" || file.text(first_chunk - 4, 4) != "WAVE")
    return std::nullopt;
  std::int64_t frame_bytes = 0;
  ShortData data;
  std::int64_t at = first_chunk;
  while (at + chunk_head < end && file.text(at, 4) != "data") {
    if (!is_chunk(file, at, end)) return std::nullopt;
    if (file.text(at, 4) == "fmt ") {
      data.bytes_a_second = file.number(at + chunk_head + 8, 4);
      frame_bytes = file.number(at + chunk_head + 12, 2);
    }
    const std::int64_t length = file.number(at + 4, 4);
    at += chunk_head + length + length % 2;
  }
  if (at + chunk_head >= end || frame_bytes <= 0 || data.bytes_a_second <= 0) return std::nullopt;
  data.length_at = at + 4;
  data.promised = file.number(data.length_at, 4);
  const std::int64_t behind = at + chunk_head + data.promised;
  const bool more = end - behind > data.bytes_a_second / 2;
  if (!more || is_chunk(file, behind, end) || is_chunk(file, behind + 1, end) ||
      !is_filled(file, behind, end) || file.failed())
    return std::nullopt;
  const std::int64_t most = std::numeric_limits<std::uint32_t>::max();
  data.there = std::min(end - at - chunk_head, most) / frame_bytes * frame_bytes;
  return data;
}

// A recording being read.
struct Input {
  explicit Input(const fs::path& path) : bytes(path), name(path.string()) {}

  FileBytes bytes;  // outlives what reads it
  std::unique_ptr<SNDFILE, CloseFile> file;
  std::string name;
  int channels = 1;
  std::int64_t frames_promised = 0;
  std::int64_t frames_read = 0;
  Length length = Length::right;
  bool lossy = false;
  std::optional<ShortData> more_than_promised = {};
  bool raw = false;                        // its bytes are turned into samples here
  std::vector<unsigned char> packed = {};  // those of a block, if so
};

constexpr std::size_t packed_bytes = 3;  // of a sample of 24 bits
constexpr std::size_t samples_at_once = 4;

// Whether samples are 24 bits one behind the other, lowest byte first, as most recordings are.
// libsndfile turns each into a number by itself, which takes more time than all measuring.
bool is_packed(SNDFILE* file, int format) {
  const int container = format & SF_FORMAT_TYPEMASK;
  return std::endian::native == std::endian::little &&
         (container == SF_FORMAT_WAV || container == SF_FORMAT_WAVEX) &&
         (format & SF_FORMAT_SUBMASK) == SF_FORMAT_PCM_24 &&
         sf_command(file, SFC_RAW_DATA_NEEDS_ENDSWAP, nullptr, 0) == SF_FALSE;
}

// Four samples of 24 bits lie in three words of 32: each is moved to the top of a word of its own,
// where its sign is the word's. The result is what libsndfile has for it, to the last bit.
void unpack(const unsigned char* packed, std::span<double> samples) {
  constexpr double full_scale = 0x1p31;
  const auto to_double = [](std::uint32_t word) {
    return static_cast<double>(static_cast<std::int32_t>(word)) * (1.0 / full_scale);
  };
  std::size_t n = 0;
  for (; n + samples_at_once <= samples.size(); n += samples_at_once) {
    std::array<std::uint32_t, packed_bytes> w{};
    std::memcpy(w.data(), packed + packed_bytes * n, sizeof w);
    samples[n] = to_double(w[0] << 8);
    samples[n + 1] = to_double((w[0] >> 16 & 0xFF00U) | w[1] << 16);
    samples[n + 2] = to_double((w[1] >> 8 & 0xFFFF00U) | w[2] << 24);
    samples[n + 3] = to_double(w[2] & 0xFFFFFF00U);
  }
  for (; n < samples.size(); ++n) {
    const unsigned char* b = packed + packed_bytes * n;
    samples[n] =
        to_double(std::uint32_t{b[0]} << 8 | std::uint32_t{b[1]} << 16 | std::uint32_t{b[2]} << 24);
  }
}

// The next frames, as many as fit. \returns how many there were; negative after an error
sf_count_t next_frames(Input& input, std::span<double> samples) {
  const auto frames = static_cast<sf_count_t>(samples.size()) / input.channels;
  if (!input.raw) return sf_readf_double(input.file.get(), samples.data(), frames);
  const auto frame_bytes = static_cast<sf_count_t>(packed_bytes) * input.channels;
  input.packed.resize(static_cast<std::size_t>(frames * frame_bytes));
  const sf_count_t bytes = sf_read_raw(input.file.get(), input.packed.data(), frames * frame_bytes);
  if (bytes <= 0) return bytes;
  const sf_count_t got = bytes / frame_bytes;
  unpack(input.packed.data(), samples.first(static_cast<std::size_t>(got * input.channels)));
  return got;
}

// The length in the header of an MP3 is an estimate, off by up to a few of its frames of 1152
// samples.
constexpr std::int64_t estimate_frames = std::int64_t{8} * 1152;

Error cut_short(const std::string& name) {
  return {"the recording is cut short: its header promises more than the file holds", name,
          "copy it again from where it was recorded, or save the part that is there as a new file "
          "first"};
}

// A recorder that is interrupted may leave a length of 0 in front of all that it wrote.
Error no_samples(const fs::path& path) {
  constexpr std::uintmax_t longest_header = 16384;  // bytes; a name and a date take less
  std::error_code failure;
  const bool regular = fs::is_regular_file(path, failure);
  if (!regular || fs::file_size(path, failure) <= longest_header)
    return {"the recording has no samples", path.string(),
            "record at least 0.5 s of the steady tone"};
  return {
      "its header says that there are no samples, though the file is long, as when a recorder "
      "is interrupted",
      path.string(),
      "record again, or mend the header: sox --ignore-length RECORDING.wav MENDED.wav"};
}

// A hole in the middle is an error, and so is an end that comes too early. What came before a read
// that failed is not returned: libsndfile forgets the failure at the next call, and goes on behind
// it.
std::size_t read_frames(Input& input, std::span<double> samples) {
  const sf_count_t got = next_frames(input, samples);
  input.bytes.check();
  if (got < 0 || (got == 0 && sf_error(input.file.get()) != SF_ERR_NO_ERROR)) {
    throw Error(std::string("cannot be read to its end (") + sf_strerror(input.file.get()) + ")",
                input.name, "copy the file again from where it was recorded");
  }
  input.frames_read += got;
  const bool early = input.frames_read + estimate_frames < input.frames_promised;
  if (got == 0 && (early || input.length == Length::too_long)) {
    throw cut_short(input.name);
  }
  return static_cast<std::size_t>(got);
}

bool is_lossy(int format) {
  switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_VORBIS:
    case SF_FORMAT_OPUS:
    case SF_FORMAT_MPEG_LAYER_I:
    case SF_FORMAT_MPEG_LAYER_II:
    case SF_FORMAT_MPEG_LAYER_III:
      return true;
    default:
      return false;
  }
}

// LAME 3.100 multiplies by 0.95 before it encodes at 128 kbit/s and less, by 0.97 at 192 kbit/s and
// not at all at 320 kbit/s; the file does not say which.
constexpr const char* lossy_note =
    ": this is a lossy format, and an encoder may store the level up to 0.5 dB lower than it was, "
    "and the noise otherwise; dBFS and volts are that uncertain. Record as WAV or FLAC.";

std::vector<std::string> length_notes_on(const Input& input) {
  if (input.length == Length::too_long)
    return {input.name + ": the recording is cut short; what is there was read"};
  if (input.more_than_promised) {
    const ShortData& data = *input.more_than_promised;
    const auto length = [&](std::int64_t bytes) {
      return format_fixed(
          Seconds(static_cast<double>(bytes) / static_cast<double>(data.bytes_a_second)), 1);
    };
    return {input.name + ": the header gives a length of " + length(data.promised) +
            " and the file holds " + length(data.there) +
            " of sound, as when a recorder is interrupted; it was read to the end of the file"};
  }
  if (input.length != Length::unknown) return {};
  return {input.name +
          ": the header does not give the recording's length, as when a recorder is interrupted; "
          "it was read to the end of the file"};
}

std::vector<std::string> notes_on(const Input& input) {
  std::vector<std::string> notes = length_notes_on(input);
  if (input.lossy) notes.push_back(input.name + lossy_note);
  return notes;
}

int container_code(Container container) {
  switch (container) {
    case Container::wav:
      return SF_FORMAT_WAV;
    case Container::flac:
      return SF_FORMAT_FLAC;
    case Container::aiff:
      return SF_FORMAT_AIFF;
    case Container::mp3:
      return SF_FORMAT_MPEG;
  }
  return 0;
}

int sample_code(SampleType samples) {
  switch (samples) {
    case SampleType::pcm16:
      return SF_FORMAT_PCM_16;
    case SampleType::pcm24:
      return SF_FORMAT_PCM_24;
    case SampleType::float32:
      return SF_FORMAT_FLOAT;
    case SampleType::float64:
      return SF_FORMAT_DOUBLE;
  }
  return 0;
}

SF_INFO info_of(const SoundFileSpec& spec) {
  SF_INFO info{};
  info.samplerate = static_cast<int>(std::lround(spec.rate.value()));
  info.channels = spec.channels;
  const int samples =
      spec.container == Container::mp3 ? SF_FORMAT_MPEG_LAYER_III : sample_code(spec.samples);
  info.format = container_code(spec.container) | samples;
  return info;
}

std::optional<double> step_of(int format) {
  const int bits = bits_of(format);
  return bits > 0 ? std::optional(std::ldexp(1.0, 1 - bits)) : std::nullopt;
}

// A file being written: libsndfile has a copy of the descriptor, so that closing it leaves ours for
// fsync.
struct Output {
  files::AtomicFile file;
  File sound;
  int channels = 2;
  int bits = 0;                  // of PCM; 0 for float and lossy
  std::int64_t frames_left = 0;  // that the container has room for
  std::vector<int> codes = {};
};

constexpr int code_bits = 32;  // libsndfile takes whole numbers left-justified

// Rounds to the nearest code, ties to even, and holds at the ends. libsndfile's own conversion
// takes full scale for 2^(bits−1) − 1 when it writes and for 2^(bits−1) when it reads, which would
// change every level.
void to_codes(std::span<const double> samples, int bits, std::vector<int>& codes) {
  const double scale = std::ldexp(1.0, bits - 1);
  const int shift = 1 << (code_bits - bits);
  // Adding and subtracting 1.5·2^52 leaves the nearest whole number, in a form that vectorizes.
  constexpr double round_to_whole = 0x1.8p52;
  codes.resize(samples.size());
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double held = std::min(std::max(samples[i] * scale, -scale), scale - 1.0);
    codes[i] = static_cast<int>((held + round_to_whole) - round_to_whole) * shift;
  }
}

sf_count_t write_samples(Output& output, std::span<const double> samples, sf_count_t frames) {
  if (output.bits == 0) return sf_writef_double(output.sound.get(), samples.data(), frames);
  to_codes(samples, output.bits, output.codes);
  return sf_writef_int(output.sound.get(), output.codes.data(), frames);
}

bool out_of_room(int reason) {
  return reason == ENOSPC || reason == EFBIG || reason == EDQUOT;
}

Error write_failed(const Output& output, const char* reason) {
  return {std::string("cannot be written to its end (") + reason + ")",
          output.file.final_path().string(), "make room on the disk, or write to another one"};
}

void write_frames(Output& output, std::span<const double> samples) {
  const auto frames = static_cast<sf_count_t>(samples.size()) / output.channels;
  output.frames_left -= frames;
  if (output.frames_left < 0) {
    throw Error("is full: this kind of file holds 4 GiB", output.file.final_path().string(),
                "make it shorter, or choose FLAC");
  }
  errno = 0;
  if (write_samples(output, samples, frames) == frames) return;
  throw write_failed(output, errno != 0 ? std::strerror(errno) : sf_strerror(output.sound.get()));
}

// The header and an encoder's last block go out on closing.
void finish(Output& output) {
  sf_write_sync(output.sound.get());
  errno = 0;
  const int status = sf_close(output.sound.release());
  if (status != 0 || out_of_room(errno)) {
    throw write_failed(output, errno != 0 ? std::strerror(errno) : sf_error_number(status));
  }
  output.file.commit();
}

// The highest constant rate: libsndfile's own choice is a variable one that gives a steady tone
// next to nothing.
void choose_best_mp3(SNDFILE* sound) {
  int mode = SF_BITRATE_MODE_CONSTANT;
  sf_command(sound, SFC_SET_BITRATE_MODE, &mode, sizeof mode);
  double least_compression = 0.0;
  sf_command(sound, SFC_SET_COMPRESSION_LEVEL, &least_compression, sizeof least_compression);
}

}  // namespace

namespace {

enum class CutShort { refused, read };

Source open(const fs::path& path, CutShort cut) {
  if (path == files::standard_input) {
    throw Error("a recording is read more than once, so it cannot come from standard input", "-",
                "give the name of a file; ./- for a file of that name");
  }
  require_readable_file(path);
  SF_INFO info{};
  auto input = std::make_shared<Input>(path);
  input->more_than_promised = short_data(path);
  if (const auto& data = input->more_than_promised)
    input->bytes.put(data->length_at, static_cast<std::uint32_t>(data->there));
  input->file.reset(input->bytes.open(info));
  input->bytes.check();
  if (!input->file) throw not_readable(path, sf_strerror(nullptr));
  // A damaged header can claim any rate. Working memory grows with it; and nothing that records
  // sound is slower than 8 kHz [ITU-T G.711], though what was recorded may have been decimated for
  // the bass.
  constexpr int lowest_rate = 1'000, highest_rate = 1'000'000;
  if (info.samplerate < lowest_rate || info.samplerate > highest_rate) {
    throw Error("its header claims " + std::to_string(info.samplerate) + " samples a second",
                path.string(),
                "record at 44.1 kHz or more; if it was, copy the file again from where it was "
                "recorded");
  }
  if (info.frames == 0) throw no_samples(path);
  Source source;
  source.format = {Hertz(info.samplerate), info.channels, info.frames, encoding_of(info.format),
                   step_of(info.format)};
  input->channels = info.channels;
  input->raw = is_packed(input->file.get(), info.format);
  input->lossy = is_lossy(info.format);
  input->frames_promised = info.frames;
  input->length = length_in_header(header_log(input->file.get()));
  if (input->length == Length::too_long && cut == CutShort::refused) throw cut_short(input->name);
  source.read = [input](std::span<double> samples) { return read_frames(*input, samples); };
  source.notes = [input] { return notes_on(*input); };
  return source;
}

}  // namespace

Source open_sound_file(const fs::path& path) {
  return open(path, CutShort::refused);
}

Source open_cut_sound_file(const fs::path& path) {
  return open(path, CutShort::read);
}

bool can_write(const SoundFileSpec& spec) {
  const SF_INFO info = info_of(spec);
  return sf_format_check(&info) != 0;
}

std::int64_t most_frames(const SoundFileSpec& spec) {
  const bool has_32_bit_lengths =
      spec.container == Container::wav || spec.container == Container::aiff;
  if (!has_32_bit_lengths) return std::numeric_limits<std::int64_t>::max();
  constexpr std::int64_t room = (std::int64_t{1} << 32) - (1 << 20);  // headers and text included
  constexpr int byte_bits = 8;
  const int format = info_of(spec).format;
  const int bits =
      bits_of(format) > 0 ? bits_of(format) : (spec.samples == SampleType::float64 ? 64 : 32);
  return room / (spec.channels * bits / byte_bits);
}

std::string encoding_name(const SoundFileSpec& spec) {
  return encoding_of(info_of(spec).format);
}

Sink create_sound_file(const fs::path& path, const SoundFileSpec& spec,
                       files::Overwrite overwrite) {
  SF_INFO info = info_of(spec);
  const std::string encoding = encoding_of(info.format);
  if (!can_write(spec)) {
    throw Error("this libsndfile does not write " + encoding + " at " +
                    std::to_string(info.samplerate) + " Hz",
                path.string(), "choose another container, sample type or rate");
  }
  auto output =
      std::make_shared<Output>(Output{files::AtomicFile(path, overwrite), nullptr, spec.channels,
                                      bits_of(info.format), most_frames(spec)});
  const int copy = dup(output->file.descriptor());
  errno = 0;
  output->sound.reset(sf_open_fd(copy, SFM_WRITE, &info, SF_TRUE));
  if (!output->sound && out_of_room(errno)) throw write_failed(*output, std::strerror(errno));
  if (!output->sound) {
    throw Error(std::string("cannot be written (") + sf_strerror(nullptr) + ")", path.string(),
                "choose another container, sample type or rate");
  }
  SNDFILE* sound = output->sound.get();
  sf_command(sound, SFC_SET_ADD_PEAK_CHUNK, nullptr,
             SF_FALSE);  // it holds the time: bytes would differ
  sf_command(sound, SFC_SET_CLIPPING, nullptr, SF_TRUE);
  if (spec.container == Container::mp3) choose_best_mp3(sound);
  if (!spec.title.empty()) sf_set_string(sound, SF_STR_TITLE, spec.title.c_str());
  if (!spec.comment.empty()) sf_set_string(sound, SF_STR_COMMENT, spec.comment.c_str());
  Sink sink;
  sink.format = {spec.rate, spec.channels, std::nullopt, encoding, step_of(info.format)};
  sink.write = [output](std::span<const double> samples) { write_frames(*output, samples); };
  sink.commit = [output] { finish(*output); };
  return sink;
}

void write_sound_file(const fs::path& path, SoundFileSpec spec, const Source& recording,
                      files::Overwrite overwrite) {
  constexpr std::size_t frames_at_once = 4096;
  spec.rate = recording.format.rate;
  spec.channels = recording.format.channels;
  const Sink sink = create_sound_file(path, spec, overwrite);
  const auto channels = static_cast<std::size_t>(spec.channels);
  std::vector<double> block(frames_at_once * channels);
  while (const std::size_t frames = recording.read(block)) {
    files::throw_if_interrupted();
    sink.write(std::span<const double>(block).first(frames * channels));
  }
  sink.commit();
}

const char* extension(Container container) {
  switch (container) {
    case Container::wav:
      return ".wav";
    case Container::flac:
      return ".flac";
    case Container::aiff:
      return ".aiff";
    case Container::mp3:
      return ".mp3";
  }
  return "";
}

}  // namespace railtap::audio
