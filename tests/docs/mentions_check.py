#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""What the documents name is there: commands with their operands and options, and, for developers, the targets, options,
tests and paths of the build.

What the documents show whole is run: by console_check.py with its output, by guide_check.py with sound.
"""
import functools
import pathlib
import re
import shlex
import subprocess
import sys

import documented
import outside


@functools.cache
def help_of(program, command):
    return outside.run(program, *([] if command == "COMMAND" else [command]), "--help", statuses=(0,)).stdout


def check_command(program, document, command):
    """Its name, its operands in capitals, and its options stand in its help."""
    words = shlex.split(command)[1:]
    text = help_of(program, words[0])
    usage = text[text.index("Usage:"):].split("\n\n")[0]
    for word in words[1:]:
        if word.startswith("--"):
            assert re.search(rf"(^|[\s,]){re.escape(word)}\b", text, re.MULTILINE), f"{document}: `{command}`: no option {word}"
        elif re.fullmatch(r"[A-Z]+", word):
            assert re.search(rf"\b{word}\b", usage), f"{document}: `{command}`: no {word} in\n{usage}"


def check_all_are_listed(program, readme):
    """The table of commands has every command, and no other."""
    listed = set(re.findall(r"^  ([a-z]+) ", outside.run(program, "--help").stdout.split("Subcommands:")[1], re.MULTILINE))
    table = set(re.findall(r"^\| `railtap ([a-z]+)", readme, re.MULTILINE))
    assert table == listed, (table ^ listed, "in the README's table or in the help, not in both")


def check_setup(readme, root):
    """The two commands that set everything up are what .ci/run calls, or is called by."""
    lines = [line for line in documented.shell_lines(readme) if "setup.sh" in line]
    assert lines == ["sh src/setup.sh demo", "sh src/setup.sh test"], lines
    steps = (root / ".ci" / "run").read_text()
    for line in lines:
        assert re.search(rf"^[^#]*{re.escape(line)}\b", steps, re.MULTILINE), f"{line}: not run by .ci/run"


def has_target(build, name):
    """Both generators take -n for going through the motions only."""
    return subprocess.run(["cmake", "--build", str(build), "--target", name, "--", "-n"], capture_output=True).returncode == 0


def check_build_line(line, root, build, labels):
    """One line of a shell block in the guide for developers."""
    cache = (build / "CMakeCache.txt").read_text()
    made = 0
    for option in re.findall(r"-D([A-Z_]+)=", line):
        # Compilers and flags are CMake's own.
        assert option.startswith("CMAKE_") or re.search(rf"^{option}:", cache, re.MULTILINE), f"`{line}`: no option {option}"
        made += 1
    built = " ".join(re.findall(r"--target ([\w ]+)", line)).split()
    for target in built + re.findall(r"\./(?:build[\w-]*/)?(railtap_\w+)", line):
        assert has_target(build, target), f"`{line}`: no target {target}"
        made += 1
    for label in re.findall(r"(?: -L|--label-exclude) (\w+)", line):
        assert label in labels, f"`{line}`: no test has the label {label}"
        made += 1
    for path in re.findall(r"(?<![\w/-])((?:src|tests|docs|\.ci)/[\w/.]+\w)", line):
        assert (root / path).exists(), f"`{line}`: no {path}"
        made += 1
    return made


def check_developers(root, build):
    text = (root / "DEVELOPERS.md").read_text()
    printed = subprocess.run(["ctest", "--test-dir", str(build), "--print-labels"], capture_output=True, text=True, check=True)
    labels = printed.stdout.split()
    made = sum(check_build_line(line, root, build, labels) for line in documented.shell_lines(text))
    for option in re.findall(r"^\| `(RAILTAP_\w+)`", text, re.MULTILINE):
        check_build_line(f"-D{option}=", root, build, labels)
        made += 1
    for path in re.findall(r"`((?:src|tests|docs|testsignals|\.ci)/[\w/.]*\w)`", text):
        found = (root / path).exists() or "NAME" in path
        assert found, f"DEVELOPERS.md: no {path}"
        made += 1
    assert made > 30, made
    print(f"DEVELOPERS.md: {made} targets, options, labels and paths")


def main(program, root, build):
    root, build = pathlib.Path(root), pathlib.Path(build)
    readme = (root / "README.md").read_text()
    made = 0
    for document in [root / "README.md", root / "DEVELOPERS.md", *sorted((root / "docs").glob("*.md"))]:
        for command in documented.commands(document.read_text()):
            check_command(program, document.name, command)
            made += 1
    assert made > 50, made
    print(f"{made} commands")
    check_all_are_listed(program, readme)
    check_setup(readme, root)
    check_developers(root, build)


if __name__ == "__main__":
    main(*sys.argv[1:])
