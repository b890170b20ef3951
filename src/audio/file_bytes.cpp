// SPDX-License-Identifier: MIT
// Reads that fail are remembered.
#include "audio/file_bytes.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <string>

#include "units/error.hpp"

namespace railtap::audio {
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
  sf_count_t got = 0;
  while (got < count) {
    const ssize_t more = ::read(file.descriptor_, static_cast<char*>(bytes) + got,
                                static_cast<std::size_t>(count - got));
    if (more < 0 && errno == EINTR) continue;
    if (file.noted(more) <= 0) break;
    got += more;
  }
  return got;
}

sf_count_t FileBytes::tell(void* self) {
  return seek(0, SEEK_CUR, self);
}

}  // namespace railtap::audio
