#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""How long the program takes to build from nothing: build_time.py SOURCE FOLDER

Builds in FOLDER, without a compiler cache, once as it is for developers and once in batches as src/setup.sh does, and runs the
demo. Prints the summed time of all compilations, the processor time, the time that passed, and the slowest ten.
"""
import os
import pathlib
import resource
import shutil
import subprocess
import sys
import time


def log(folder):
    """Seconds of every output that ninja has made."""
    outputs = {}
    for line in (folder / ".ninja_log").read_text().splitlines()[1:]:
        begin_ms, end_ms, _, output, _ = line.split("\t")
        outputs[output] = (int(end_ms) - int(begin_ms)) / 1000
    return outputs


def timed(*command):
    """Seconds that pass, and seconds of processors."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    # A cache would have the answer from last time.
    subprocess.run([str(word) for word in command], check=True, stdout=subprocess.DEVNULL, env=dict(os.environ, CCACHE_DISABLE="1"))
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.monotonic() - began, used


def report(name, source, folder, *options):
    shutil.rmtree(folder, ignore_errors=True)
    configured, _ = timed("cmake", "-S", source, "-B", folder, "-G", "Ninja", "-DCMAKE_BUILD_TYPE=Release", "-DRAILTAP_TESTS=OFF", *options)
    built, used = timed("cmake", "--build", folder, "--parallel", os.cpu_count(), "--target", "railtap")
    compiled = {output: seconds for output, seconds in log(folder).items() if output.endswith(".o")}
    shown, _ = timed(folder / "railtap", "demo", folder / "demo")
    print(f"{name}: {len(compiled)} compilations, {sum(compiled.values()):.1f} s in sum, {used:.1f} s of processor time; "
          f"{configured:.1f} s to configure, {built:.1f} s to build on {os.cpu_count()} processors, {shown:.1f} s for the demo")
    for output, seconds in sorted(compiled.items(), key=lambda one: -one[1])[:10]:
        print(f"  {seconds:6.1f} s  {output.split('.dir/')[-1].removesuffix('.o')}")


def main(source, folder):
    if os.getloadavg()[0] > 0.5:
        print(f"other work is going on (load {os.getloadavg()[0]:.1f}): only the processor times can be relied upon")
    folder = pathlib.Path(folder).resolve()
    try:
        report("one by one", source, folder)
        report("in batches", source, folder, "-DRAILTAP_UNITY=ON")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
