#!/bin/sh
# SPDX-License-Identifier: MIT
# From a fresh Debian 12 to the demo or the tests.
#
#   sh src/setup.sh demo    installs what is missing, builds, runs the whole job on the virtual rig
#   sh src/setup.sh test    the same, and what the tests need; runs the tests
#   sh src/setup.sh build   as `test`, but runs no test
#   sh src/setup.sh tools   installs the formatter and the linters that .ci/run uses
#
# RAILTAP_CMAKE_OPTIONS, when set, is handed to the configure step of `test` and `build` (for example
# "-DRAILTAP_WERROR=ON"). Run again, it finds everything in place and takes seconds.
set -eu

build_packages="g++ cmake ninja-build pkg-config libsndfile1-dev portaudio19-dev libcli11-dev
  nlohmann-json3-dev libtomlplusplus-dev libkissfft-dev libncurses-dev
  libcpp-httplib-dev libqrencode-dev"
# The tests compare against SciPy, SoX and a circuit simulator, read recorded music and speech, and
# record from a sound server of their own. The setup sheet is validated, and opened in a browser.
test_packages="doctest-dev python3 python3-numpy python3-scipy sox libsox-fmt-all ngspice
  sonic-pi-samples alsa-utils pulseaudio pulseaudio-utils libasound2-plugins tmux faketime util-linux man-db
  dpkg-dev file
  tidy chromium"
tool_packages="clang lld clang-format clang-tidy libclang-rt-14-dev"

say() { printf '%s\n' "setup: $*"; }
fail() {
  printf '%s\n' "setup: $*" >&2
  exit 2
}

# install_missing PACKAGE…: does nothing, quickly, when all are there.
install_missing() {
  if ! command -v apt-get >/dev/null || ! command -v dpkg-query >/dev/null; then
    fail "this script installs with apt-get, which this system does not have. It is written for" \
      "Debian 12; elsewhere install the counterparts of: $*, then build as DEVELOPERS.md says."
  fi
  missing=""
  for package in "$@"; do
    state=$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null) || state=absent
    [ "$state" = installed ] || missing="$missing $package"
  done
  if [ -z "$missing" ]; then
    say "every package needed is installed"
    return
  fi
  as_root=""
  if [ "$(id -u)" -ne 0 ]; then
    command -v sudo >/dev/null || fail "packages are missing ($missing ), and installing them needs" \
      "root: run this as root, or install sudo."
    as_root=sudo
  fi
  say "installing with apt-get:$missing"
  # The word splitting of $as_root and $missing is meant.
  # shellcheck disable=SC2086
  $as_root env DEBIAN_FRONTEND=noninteractive apt-get update -q </dev/null ||
    fail "apt-get update failed (see above); check the network and the package sources."
  # shellcheck disable=SC2086
  $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $missing \
    </dev/null || fail "apt-get could not install:$missing (see above)."
}

# configure OPTION…: keeps what an earlier run decided, so that a second run has little to do.
configure() {
  say "configuring in build/"
  if [ -f build/CMakeCache.txt ]; then
    cmake -S . -B build -DCMAKE_BUILD_TYPE=Release "$@" >build/configure.log 2>&1
  else
    mkdir -p build
    # Whoever changes sources afterwards builds faster with -DRAILTAP_UNITY=OFF.
    cmake -S . -B build -G Ninja -DCMAKE_BUILD_TYPE=Release -DRAILTAP_UNITY=ON "$@" >build/configure.log 2>&1
  fi || {
    cat build/configure.log >&2
    fail "cmake could not configure (see above)."
  }
}

build() {
  say "building with $(nproc) processors"
  cmake --build build --parallel "$(nproc)" "$@" || fail "the build failed (see above)."
}

# The first of build/demo-1, build/demo-2, … that does not exist.
fresh_folder() {
  number=1
  while [ -e "build/demo-$number" ]; do number=$((number + 1)); done
  echo "build/demo-$number"
}

run_demo() {
  # shellcheck disable=SC2086
  install_missing $build_packages
  # The tests' own packages are not needed here; a build that has tests keeps them.
  if [ -f build/CMakeCache.txt ]; then configure; else configure -DRAILTAP_TESTS=OFF; fi
  build --target railtap
  folder=$(fresh_folder)
  say "running the demo into $folder"
  ./build/railtap demo "$folder"
}

build_tests() {
  # shellcheck disable=SC2086
  install_missing $build_packages $test_packages
  # shellcheck disable=SC2086
  configure -DRAILTAP_TESTS=ON ${RAILTAP_CMAKE_OPTIONS:-}
  build
}

run_tests() {
  build_tests
  say "running the tests"
  # One more than there are processors: of the sound tests one runs at a time, and it mostly waits for its sound.
  ctest --test-dir build --output-on-failure --parallel $(($(nproc) + 1))
}

cd "$(dirname "$0")/.."
case "${1:-}" in
  demo) run_demo ;;
  test) run_tests ;;
  build) build_tests ;;
  tools)
    # shellcheck disable=SC2086
    install_missing $tool_packages
    ;;
  *) fail "say what to do: sh src/setup.sh demo, or sh src/setup.sh test" ;;
esac
