// SPDX-License-Identifier: MIT
// Sound files through libsndfile.
#include "audio/sound_file.hpp"

#include <fcntl.h>
#include <sndfile.h>
#include <unistd.h>

#include <cerrno>
#include <cmath>
#include <cstring>
#include <memory>

#include "units/error.hpp"

namespace railtap::audio {
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

// "from now on the file is read": a hole in the middle is an error, the end of a file cut short is
// not.
std::size_t read_frames(SNDFILE* file, std::span<double> samples, int channels,
                        const std::string& name) {
  const auto frames = static_cast<sf_count_t>(samples.size()) / channels;
  const sf_count_t got = sf_readf_double(file, samples.data(), frames);
  if (got < 0 || (got == 0 && sf_error(file) != SF_ERR_NO_ERROR)) {
    throw Error(std::string("cannot be read to its end (") + sf_strerror(file) + ")", name,
                "copy the file again from where it was recorded");
  }
  return static_cast<std::size_t>(got);
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
};

Error write_failed(const Output& output, const char* reason) {
  return {std::string("cannot be written to its end (") + reason + ")",
          output.file.final_path().string(), "make room on the disk, or write to another one"};
}

void write_frames(Output& output, std::span<const double> samples, int channels) {
  const auto frames = static_cast<sf_count_t>(samples.size()) / channels;
  errno = 0;
  if (sf_writef_double(output.sound.get(), samples.data(), frames) == frames) return;
  throw write_failed(output, errno != 0 ? std::strerror(errno) : sf_strerror(output.sound.get()));
}

// The size on disk tells whether the header and the last block went out: sf_close says nothing of a
// full disk.
void finish(Output& output) {
  sf_write_sync(output.sound.get());
  errno = 0;
  const int status = sf_close(output.sound.release());
  if (status != 0 || errno == ENOSPC || errno == EFBIG) {
    throw write_failed(output, errno != 0 ? std::strerror(errno) : sf_error_number(status));
  }
  output.file.commit();
}

}  // namespace

Source open_sound_file(const fs::path& path) {
  require_readable_file(path);
  SF_INFO info{};
  std::shared_ptr<SNDFILE> file(sf_open(path.c_str(), SFM_READ, &info), [](SNDFILE* f) {
    if (f != nullptr) sf_close(f);
  });
  if (!file) {
    throw Error(std::string("is not a sound file that can be read (") + sf_strerror(nullptr) + ")",
                path.string(), "give a WAV, FLAC, AIFF, Ogg or MP3 recording");
  }
  if (info.frames == 0) {
    throw Error("the recording has no samples", path.string(),
                "record at least 0.5 s of the steady tone");
  }
  Source source;
  source.format = {Hertz(info.samplerate), info.channels, info.frames, encoding_of(info.format),
                   step_of(info.format)};
  source.read = [file, channels = info.channels, name = path.string()](std::span<double> samples) {
    return read_frames(file.get(), samples, channels, name);
  };
  return source;
}

bool can_write(const SoundFileSpec& spec) {
  const SF_INFO info = info_of(spec);
  return sf_format_check(&info) != 0;
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
  auto output = std::make_shared<Output>(Output{files::AtomicFile(path, overwrite), nullptr});
  const int copy = dup(output->file.descriptor());
  output->sound.reset(sf_open_fd(copy, SFM_WRITE, &info, SF_TRUE));
  if (!output->sound) {
    throw Error(std::string("cannot be written (") + sf_strerror(nullptr) + ")", path.string(),
                "choose another container, sample type or rate");
  }
  SNDFILE* sound = output->sound.get();
  sf_command(sound, SFC_SET_ADD_PEAK_CHUNK, nullptr,
             SF_FALSE);  // it holds the time: bytes would differ
  sf_command(sound, SFC_SET_CLIPPING, nullptr, SF_TRUE);
  if (!spec.title.empty()) sf_set_string(sound, SF_STR_TITLE, spec.title.c_str());
  if (!spec.comment.empty()) sf_set_string(sound, SF_STR_COMMENT, spec.comment.c_str());
  Sink sink;
  sink.format = {spec.rate, spec.channels, std::nullopt, encoding, step_of(info.format)};
  sink.write = [output, channels = spec.channels](std::span<const double> samples) {
    write_frames(*output, samples, channels);
  };
  sink.commit = [output] { finish(*output); };
  return sink;
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
