// SPDX-License-Identifier: MIT
// Preloaded into the program by failing_calls_check.py: memory that runs out, and reads and writes
// that move less than was asked for, or fail. It counts from main() on, and the environment says
// which call fails:
//
//   RAILTAP_FAULT_MEMORY=N       the Nth allocation fails
//   RAILTAP_FAULT_MEMORY_FROM=N  the Nth and every later one
//   RAILTAP_FAULT_READ=N         the Nth read of a file fails with EIO
//   RAILTAP_FAULT_WRITE=N        the Nth write to a file, or fsync, fails with ENOSPC
//   RAILTAP_FAULT_SHORT=N        no read or write of a file moves more than N bytes
//   RAILTAP_FAULT_COUNTS=FILE    at the end: how many allocations, reads and writes there were
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstdio>
#include <cstdlib>

// The C library's own allocator, which exists so that these names can be taken over [The GNU C
// Library Reference Manual, "Replacing malloc"].
extern "C" void* __libc_malloc(std::size_t);
extern "C" void* __libc_calloc(std::size_t, std::size_t);
extern "C" void* __libc_realloc(void*, std::size_t);

namespace {

struct Faults {
  long memory = 0, memory_from = 0, read = 0, write = 0, most_bytes = 0;
};

Faults faults;
std::atomic<bool> armed{false};
std::atomic<long> allocations{0}, reads{0}, writes{0};

long number(const char* name) {
  const char* text = std::getenv(name);
  return text == nullptr ? 0 : std::atol(text);
}

bool is_out_of_memory() {
  if (!armed) return false;
  const long count = ++allocations;
  return count == faults.memory || (faults.memory_from > 0 && count >= faults.memory_from);
}

bool is_file(int descriptor) {
  struct stat about {};
  return armed && fstat(descriptor, &about) == 0 && S_ISREG(about.st_mode);
}

std::size_t at_most(std::size_t bytes) {
  const auto most = static_cast<std::size_t>(faults.most_bytes);
  return most > 0 && bytes > most ? most : bytes;
}

template <class Function>
Function real(const char* name) {
  return reinterpret_cast<Function>(dlsym(RTLD_NEXT, name));
}

bool fails(std::atomic<long>& counter, long at, int error) {
  if (++counter != at) return false;
  errno = error;
  return true;
}

using Main = int (*)(int, char**, char**);
Main real_main = nullptr;

int counted_main(int argc, char** argv, char** environment) {
  faults = {number("RAILTAP_FAULT_MEMORY"), number("RAILTAP_FAULT_MEMORY_FROM"),
            number("RAILTAP_FAULT_READ"), number("RAILTAP_FAULT_WRITE"),
            number("RAILTAP_FAULT_SHORT")};
  armed = true;
  const int status = real_main(argc, argv, environment);
  armed = false;
  if (const char* path = std::getenv("RAILTAP_FAULT_COUNTS")) {
    if (std::FILE* file = std::fopen(path, "w")) {
      std::fprintf(file, "%ld %ld %ld\n", allocations.load(), reads.load(), writes.load());
      std::fclose(file);
    }
  }
  return status;
}

}  // namespace

extern "C" {

int __libc_start_main(Main main, int argc, char** argv, void (*init)(), void (*fini)(),
                      void (*linker_fini)(), void* stack_end) {
  using Start = int (*)(Main, int, char**, void (*)(), void (*)(), void (*)(), void*);
  real_main = main;
  return real<Start>("__libc_start_main")(counted_main, argc, argv, init, fini, linker_fini,
                                          stack_end);
}

void* malloc(std::size_t size) {
  if (!is_out_of_memory()) return __libc_malloc(size);
  errno = ENOMEM;
  return nullptr;
}

void* calloc(std::size_t count, std::size_t size) {
  if (!is_out_of_memory()) return __libc_calloc(count, size);
  errno = ENOMEM;
  return nullptr;
}

void* realloc(void* memory, std::size_t size) {
  if (!is_out_of_memory()) return __libc_realloc(memory, size);
  errno = ENOMEM;
  return nullptr;
}

ssize_t read(int descriptor, void* bytes, std::size_t count) {
  static const auto real_read = real<ssize_t (*)(int, void*, std::size_t)>("read");
  if (!is_file(descriptor)) return real_read(descriptor, bytes, count);
  if (fails(reads, faults.read, EIO)) return -1;
  return real_read(descriptor, bytes, at_most(count));
}

ssize_t write(int descriptor, const void* bytes, std::size_t count) {
  static const auto real_write = real<ssize_t (*)(int, const void*, std::size_t)>("write");
  if (!is_file(descriptor)) return real_write(descriptor, bytes, count);
  if (fails(writes, faults.write, ENOSPC)) return -1;
  return real_write(descriptor, bytes, at_most(count));
}

ssize_t writev(int descriptor, const struct iovec* parts, int count) {
  static const auto real_writev = real<ssize_t (*)(int, const struct iovec*, int)>("writev");
  if (!is_file(descriptor)) return real_writev(descriptor, parts, count);
  if (fails(writes, faults.write, ENOSPC)) return -1;
  if (faults.most_bytes == 0 || count == 0) return real_writev(descriptor, parts, count);
  struct iovec first = parts[0];
  first.iov_len = at_most(first.iov_len);
  return real_writev(descriptor, &first, 1);
}

int fsync(int descriptor) {
  static const auto real_fsync = real<int (*)(int)>("fsync");
  if (is_file(descriptor) && fails(writes, faults.write, ENOSPC)) return -1;
  return real_fsync(descriptor);
}

}  // extern "C"
