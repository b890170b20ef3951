#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Contrast of the sheet's and the pictures' colours, light, dark and on paper, and whether colour-blind people can
tell the lines apart.

Sources: WCAG 2.2, 1.4.3 (text 4.5 : 1), 1.4.11 (graphics 3 : 1) and the definitions of contrast ratio and relative
luminance; Machado, Oliveira and Fernandes, IEEE Trans. Visualization and Computer Graphics 15 (2009), p. 1291, table
of severity 1.0 (from memory); CIE 15:2004 for L*a*b*.
"""
import itertools
import pathlib
import re
import sys
import tempfile

import numpy

import outside

TEXT = ("ink", "quiet", "stop", "good")
GRAPHICS = ("one", "two", "three", "faint")
VISION = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def palettes(css):
    """Colours by name for light, dark and paper; what a later block leaves out stays as it was."""
    blocks = re.findall(r":root\s*{(.*?)}", css, re.DOTALL)
    assert len(blocks) == 3, "light, dark, print"
    colours = [dict(re.findall(r"--([a-z]+):\s*(#[0-9a-f]{3,6})\b", block)) for block in blocks]
    return {"light": colours[0], "dark": {**colours[0], **colours[1]}, "paper": {**colours[0], **colours[2]}}


def linear(colour):
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    values = numpy.array([int(digits[i:i + 2], 16) / 255 for i in (0, 2, 4)])
    return numpy.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def contrast(a, b):
    light, dark = sorted((float(numpy.dot([0.2126, 0.7152, 0.0722], linear(c))) for c in (a, b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def lab(rgb):
    to_xyz = numpy.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                          [0.0193339, 0.1191920, 0.9503041]])  # sRGB, D65
    xyz = to_xyz @ numpy.clip(rgb, 0, 1) / (to_xyz @ numpy.ones(3))
    f = numpy.where(xyz > (6 / 29) ** 3, numpy.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    return numpy.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def main(program):
    checks = outside.Checks(__doc__.partition("Sources: ")[2].replace("\n", " "))
    assert abs(contrast("#000", "#fff") - 21) < 1e-9 and abs(contrast("#777", "#fff") - 4.48) < 0.01  # W3C's examples
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        outside.write_wav(folder / "tone.wav", outside.sine(997, -6, 1))
        outside.run(program, "analyze", folder / "tone.wav", "--svg", folder / "tone.svg")
        css = (folder / "tone.svg").read_text()
    for scheme, colours in palettes(css).items():
        for ground in ("paper", "panel"):
            for word in TEXT:
                checks.at_most(f"{scheme}: 4.5 over the contrast of {word} on {ground}",
                               4.5 / contrast(colours[word], colours[ground]), 1)
        for line in GRAPHICS:
            checks.at_most(f"{scheme}: 3 over the contrast of {line} on paper",
                           3 / contrast(colours[line], colours["paper"]), 1)
        if scheme == "paper":
            continue  # black lines, told apart by their dashes
        for vision, matrix in VISION.items():
            for a, b in itertools.combinations(GRAPHICS[:3], 2):
                apart = numpy.linalg.norm(lab(numpy.array(matrix) @ linear(colours[a])) -
                                          lab(numpy.array(matrix) @ linear(colours[b])))
                # 2.3 is a just noticeable difference [Mahy et al. 1994]; four of them are seen at a glance.
                checks.at_most(f"{scheme}, {vision}: 9.2 over the distance of {a} and {b}", 9.2 / apart, 1)
    dashes = re.findall(r"svg \.curve\.(two|three|faint)[^}]*stroke-dasharray: ([\d ]+)", css)
    checks.equal("every line has a dash of its own", len({dash.strip() for _, dash in dashes}), 3)
    checks.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
