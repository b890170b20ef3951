#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# What takes hours or only reports, and so is no part of .ci/run: run it by hand, or over night.
#
#   tests/nightly.sh            all of it
#   tests/nightly.sh STAGE…     some: fuzzers page lint sanitized threads mutations coverage
#
# Needs the packages of `src/setup.sh test` and `src/setup.sh tools`. Goes on after a finding; exit status 1 when there was one.
set -uo pipefail
cd "$(dirname "$0")/.." || exit 2
exec </dev/null

jobs=$(nproc)
fuzz_s=${RAILTAP_FUZZ_SECONDS:-600} # for each fuzzer
launcher=()
command -v ccache >/dev/null && launcher=(-DCMAKE_CXX_COMPILER_LAUNCHER=ccache)

# configure FOLDER OPTION…
configure() {
  local folder=$1
  shift
  cmake -S . -B "$folder" -G Ninja "${launcher[@]}" "$@" >/dev/null
}

# clang_build FOLDER FUZZ: as in .ci/run, in whose folder the first of both builds goes on, with every check of the sanitizers.
clang_build() {
  configure "$1" -DCMAKE_CXX_COMPILER=clang++ -DCMAKE_BUILD_TYPE=RelWithDebInfo \
    -DCMAKE_CXX_FLAGS_RELWITHDEBINFO="-O1 -gline-tables-only" -DCMAKE_EXE_LINKER_FLAGS=-fuse-ld=lld \
    -DRAILTAP_WERROR=ON -DRAILTAP_UNITY=ON -DRAILTAP_SANITIZE=address,undefined \
    -DRAILTAP_POINTER_CHECKS=ON -DRAILTAP_FUZZ="$2" &&
    cmake --build "$1" --parallel "$jobs"
}

# Every test: .ci/run leaves out the trials, the sound tests and the longest others, and three checks. Trials too long for it.
sanitized() {
  clang_build build-clang replay &&
    ASAN_OPTIONS=detect_stack_use_after_return=1 UBSAN_OPTIONS=print_stacktrace=1 \
      ctest --test-dir build-clang --output-on-failure --parallel "$jobs" &&
    ./build-clang/railtap_trials --test-suite=nightly
}

fuzzers() { clang_build build-fuzz ON && python3 tests/fuzz/fuzz_run.py build-fuzz/fuzz "$fuzz_s" "$jobs"; }

# The phone page's server, sent whatever may come for a minute, under the sanitizers.
page() {
  clang_build build-clang replay &&
    PYTHONPATH=tests/support PYTHONDONTWRITEBYTECODE=1 /usr/bin/python3 tests/page/page_check.py build-clang/railtap fuzz 60
}

# What has threads.
threads() {
  configure build-thread -DCMAKE_BUILD_TYPE=RelWithDebInfo -DRAILTAP_SANITIZE=thread &&
    cmake --build build-thread --parallel "$jobs" --target railtap railtap_tests &&
    ./build-thread/railtap_tests -sf="*tests/audio/*,*tests/live/*,*tests/page/*" &&
    ctest --test-dir build-thread -R '^page_' --output-on-failure &&
    ctest --test-dir build-thread -L sound --output-on-failure
}

# Every file, each compiled alone, up to half a minute for one.
lint() {
  configure build-lint -DCMAKE_CXX_COMPILER=clang++ -DRAILTAP_UNITY=OFF || return 1
  find src -name '*.cpp' -print0 | xargs -0 -n 1 -P "$jobs" clang-tidy -p build-lint --quiet --warnings-as-errors='*'
}

mutations() { python3 tests/mutation/mutate.py --jobs "$jobs"; }

# Needs gcovr besides; DEVELOPERS.md says how much is expected.
coverage() {
  configure build-coverage -DCMAKE_BUILD_TYPE=None -DCMAKE_CXX_FLAGS="-O1 --coverage -fprofile-update=atomic" &&
    cmake --build build-coverage --parallel "$jobs" --target railtap railtap_tests &&
    (cd build-coverage && ./railtap_tests && ctest -R "curves|reference") &&
    gcovr -r . build-coverage --filter "src/(measure|judge)/" --exclude-throw-branches --fail-under-line 95
}

stages=("$@")
[ ${#stages[@]} -gt 0 ] || stages=(lint fuzzers page threads sanitized mutations coverage)
summary=()
status=0
for stage in "${stages[@]}"; do
  case $stage in
    fuzzers | page | lint | sanitized | threads | mutations | coverage) ;;
    *) printf 'no stage is called %s\n' "$stage" >&2; exit 2 ;;
  esac
  printf '\n== %s\n' "$stage"
  began=$SECONDS
  if "$stage"; then found="nothing found"; else found="FINDINGS, see above" status=1; fi
  summary+=("$(printf '%6d s  %s: %s' $((SECONDS - began)) "$stage" "$found")")
done
printf '\n== done\n'
printf '%s\n' "${summary[@]}"
exit $status
