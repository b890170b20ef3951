# SPDX-License-Identifier: MIT
"""Takes the commands out of the documents."""
import re

FENCE = re.compile(r"^( *)```(\w*)\n(.*?)^\1```", re.MULTILINE | re.DOTALL)


def sessions(text):
    """(command, expected output) of the console blocks."""
    for _, language, block in FENCE.findall(text):
        if language != "console":
            continue
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            lines = part.split("\n")
            count = 1
            while lines[count - 1].endswith("\\"):
                count += 1
            yield "\n".join(lines[:count]), "\n".join(lines[count:]).strip("\n")


def shell_lines(text):
    """The command lines of the `sh` blocks, their remarks taken off, continued lines joined."""
    for _, language, block in FENCE.findall(text):
        if language != "sh":
            continue
        for line in re.sub(r"\\\n\s*", "", block).splitlines():
            line = re.sub(r"\s+#.*", "", line).strip()
            if line:
                yield line


def commands(text):
    """Every `railtap …` in the running text and in the `sh` blocks, in the order in which it stands there."""
    found = []
    for match in FENCE.finditer(text):
        if match[2] == "sh":
            found += [(match.start(), line) for line in shell_lines(match[0]) if line.startswith("railtap ")]
    running = FENCE.sub(lambda match: " " * len(match[0]), text)
    found += [(match.start(), " ".join(match[0].strip("`").split())) for match in re.finditer(r"`railtap [^`]*`", running)]
    return [command for _, command in sorted(found, key=lambda one: one[0])]


def is_complete(command):
    """False for what only names a command, or shows where something is to be put in: `railtap onset FILE`."""
    words = command.split()
    if command in BARE:
        return True
    return len(words) > 2 and not any(re.fullmatch(r"[A-Z]+(\.json)?", word) for word in words) and command not in NAMED


# Needs no operand.
BARE = {"railtap devices"}
# Names an option of a command, and is not meant to be typed as it stands.
NAMED = {"railtap analyze --calibration tap.toml", "railtap target --tone-level", "railtap tones --sine"}
