#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Installs into a fresh folder and uses what was installed as a person would."""
import pathlib
import re
import subprocess
import sys
import tempfile


def run(*command, text_in=None):
    done = subprocess.run(command, input=text_in, capture_output=True, text=True)
    assert done.returncode == 0, f"{command}: {done.returncode}\n{done.stderr}"
    return done


def commands_on_help_screen(program):
    listed = run(program, "--help").stdout.split("Subcommands:")[1]
    return re.findall(r"^  ([a-z]+) ", listed, re.MULTILINE)


def check_manual_page(prefix, commands):
    page = prefix / "share/man/man1/railtap.1"
    shown = run("man", "--warnings", "-l", str(page))
    assert not shown.stderr, f"man complains: {shown.stderr}"
    for command in commands:
        assert re.search(rf"^ +{command}$", shown.stdout, re.MULTILINE), f"{command} is not on the manual page"


def completions(prefix, *words):
    script = prefix / "share/bash-completion/completions/railtap"
    line = "source {}; COMP_WORDS=({}); COMP_CWORD={}; _railtap; printf '%s\\n' \"${{COMPREPLY[@]}}\"".format(
        script, " ".join(f"'{word}'" for word in words), len(words) - 1)
    return run("bash", "-c", line).stdout.split()


def check_completion(prefix, commands):
    for command in commands:
        assert completions(prefix, "railtap", command[:-1]) == [command] or command in completions(
            prefix, "railtap", command[:-1]), f"{command} does not complete"
        assert "--help" in completions(prefix, "railtap", command, "--h"), f"{command} --h does not complete"


def main(build, config_documents):
    with tempfile.TemporaryDirectory() as folder:
        prefix = pathlib.Path(folder)
        run("cmake", "--install", build, "--prefix", folder)
        program = str(prefix / "bin/railtap")
        assert run(program, "--version").stdout.startswith("railtap ")
        commands = commands_on_help_screen(program)
        assert "analyze" in commands, f"the help screen lists {commands}"
        assert "reference" not in commands, "a command for the build is shown to people"
        check_manual_page(prefix, commands)
        check_completion(prefix, commands)
        for document in config_documents:
            assert (prefix / "share/doc/railtap" / document).exists(), f"{document} is not installed"


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
