#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""docs/validation.md, out of what the outside checks compared in a test run.

validation_page.py --write FOLDER PAGE      writes the page
validation_page.py --compare FOLDER PAGE    fails when the page does not say what the run compared

Figures, and expectations that a library computes, differ in their last digits from one processor to another, so
`--compare` takes both columns out on both sides; that every figure was within its tolerance is what the checks
themselves have tested.
"""
import json
import math
import os
import pathlib
import sys

import outside

GROUPS = (outside.STANDARDS, outside.LIBRARIES, outside.SIMULATION, outside.RECORDINGS, outside.PRACTICE)
SCRIPTS = pathlib.Path(__file__).resolve().parents[1] / "reference"
HEAD = """# Validation

What railtap's figures were compared with, outside the project: the source, what it says, what railtap measured, and the
tolerance. This page is written by `cmake --build build --target validation` from the run of the checks in
`tests/reference`; nothing on it is typed by hand, and a test fails when it does not say what the checks compare. A check
that cannot run is a failure; none is skipped.

"""


def measurements(folder):
    """Every document that the checks have left; one of each script at least."""
    documents = [json.loads(path.read_text("utf-8")) for path in sorted(pathlib.Path(folder).glob("*.json"))]
    scripts = {path.stem for path in SCRIPTS.glob("*_check.py")}
    documents = [document for document in documents if document["script"] in scripts]
    missing = scripts - {document["script"] for document in documents}
    assert not missing, f"these checks have left nothing in {folder}: {', '.join(sorted(missing))}"
    for document in documents:
        assert document["group"] in GROUPS, f"{document['script']}: no such group: {document['group']}"
        assert all(row["good"] for row in document["rows"]), f"{document['script']}: not all checks passed"
    return documents


def number(value, tolerance):
    """As many digits as the tolerance gives a meaning to: two behind its first."""
    if not isinstance(value, (int, float)) or isinstance(value, bool):
        return str(value)
    if tolerance is None or not tolerance > 0:
        return f"{value:.6g}"
    decimals = max(0, 2 - math.floor(math.log10(tolerance)))
    return f"{value:.{decimals}f}" if decimals <= 12 else f"{value:.6e}"


def cell(text):
    return " ".join(str(text).split()).replace("|", "\\|")


def line(row):
    if "at_most" in row:
        return (cell(row["what"]), f"at most {row['at_most']:g}", number(row["measured"], abs(row["at_most"]) / 10), "", cell(row["unit"]))
    if "tolerance" in row:
        tolerance = row["tolerance"]
        return (cell(row["what"]), number(row["expected"], tolerance), number(row["measured"], tolerance), f"± {tolerance:.3g}",
                cell(row["unit"]))
    return (cell(row["what"]), cell(row["expected"]), cell(row["measured"]), "equal", "")


def lines(documents):
    """Headings and table lines, in order."""
    total = sum(len(document["rows"]) for document in documents)
    yield f"{total} comparisons with {len({document['source'] for document in documents})} sources."
    for group in GROUPS:
        members = [document for document in documents if document["group"] == group]
        if not members:
            continue
        yield f"\n## {group[0].upper()}{group[1:]}"
        for document in members:
            yield f"\n### {cell(document['source'])}\n"
            yield f"`tests/reference/{document['script']}.py`, {len(document['rows'])} comparisons.\n"
            yield "| what | expected | measured | tolerance | unit |"
            yield "| --- | --- | --- | --- | --- |"
            for row in document["rows"]:
                yield "| " + " | ".join(line(row)) + " |"


def without_figures(text):
    kept = []
    for entry in text.splitlines():
        cells = entry.split(" | ")
        kept.append(" | ".join(cells[:1] + cells[3:]) if entry.startswith("| ") and len(cells) == 5 else entry)
    return kept


def compare(text, page):
    old, new = without_figures(page.read_text("utf-8")), without_figures(text)
    different = [pair for pair in zip(old, new) if pair[0] != pair[1]]
    assert len(old) == len(new) and not different, (
        f"{page.name} does not say what the checks compared ({len(old)} lines, {len(new)} expected; first difference: "
        f"{different[:1]}); write it anew: cmake --build build --target validation")


def main(action, folder, page):
    page = pathlib.Path(page)
    text = HEAD + "\n".join(lines(measurements(folder))) + "\n"
    if action == "--write":
        temporary = page.with_suffix(".new")
        temporary.write_text(text, "utf-8")
        os.replace(temporary, page)
    else:
        assert action == "--compare", __doc__
        compare(text, page)
    print(f"{page.name}: {text.count(chr(10))} lines")


if __name__ == "__main__":
    main(*sys.argv[1:])
