#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The setup sheet against the record that it is made of: every number on it is one that the record has, names that
anybody may have written stay text, what was not measured is said to be so, and a validator finds no fault.

Validator: HTML Tidy (Debian package tidy), which does not know the `data` element of the HTML standard yet.
"""
import datetime
import html
import html.parser
import json
import pathlib
import re
import shlex
import subprocess
import sys
import tempfile

import outside

PREFIXES = {"": 1, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}
UNITS = {"_v": "V", "_w": "W", "_ohm": "ohm", "_hz": "Hz", "_db": "dB", "_dbfs": "dBFS", "_percent": "%",
         "volts_per_full_scale": "V"}
NUMBER = re.compile(r"([+\u2212-]?)(\d+(?:\.\d+)?)(?:\s?([numkM]?)(V|W|ohm|Hz|dBFS|dB|%)(?![A-Za-z]))?")
VOID = {"meta", "link", "br", "img", "input", "hr"}
DETAILS = ("vehicle", "owner", "installer", "date")
HOSTILE = ["<script>alert(1)</script>", "\"quotes\" & 'more' </title></style>", "\u202Eright to left\u202C \u05D0\u05D1",
           "x" * 9990 + "<b>endmark", "\x00\x1b[31m\uFFFE"]


class Page(html.parser.HTMLParser):
    """Pieces of text, each with the elements around it, and every element."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.stack, self.texts, self.elements = [], [], []
        self.feed(text)
        self.close()
        assert not self.stack, f"left open: {self.stack}"

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append((tag, dict(attrs)))

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        opened, _ = self.stack.pop()
        assert opened == tag, f"<{opened}> is closed by </{tag}>"

    def handle_data(self, data):
        self.texts.append((list(self.stack), data))

    def words(self):
        return "".join(data for stack, data in self.texts if not any(tag == "style" for tag, _ in stack))


def at_pointer(documents, pointer):
    document = documents["earlier" if pointer.startswith("#earlier") else "today"]
    for part in pointer.removeprefix("#earlier").split("/")[1:]:
        part = part.replace("~1", "/").replace("~0", "~")
        document = document[int(part)] if isinstance(document, list) else document[part]
    return document


def shown_as(match, value):
    """Whether a number as printed is `value` rounded to the digits that are printed."""
    sign, digits, prefix, _ = match.groups()
    scale = PREFIXES[prefix or ""]
    shown = (-1 if sign in ("-", "\u2212") else 1) * float(digits)
    half = 0.5 * 10.0 ** -len(digits.partition(".")[2]) * scale
    return abs(shown * scale - value) <= half * (1 + 1e-9)


def check_marked(checks, documents, shown, value, pointer):
    truth = at_pointer(documents, pointer)
    good = isinstance(truth, (int, float)) and float(value) == float(truth)
    match = NUMBER.search(shown)
    unit = next((unit for suffix, unit in UNITS.items() if pointer.endswith(suffix)), None)
    good = good and match is not None and shown_as(match, truth) and (match.group(4) or None) == unit
    if not good:
        checks.equal(f"{pointer} on the sheet as {shown!r}", value, truth)
    return good


def numbers_of(document):
    if isinstance(document, dict):
        return [n for value in document.values() for n in numbers_of(value)]
    if isinstance(document, list):
        return [n for value in document for n in numbers_of(value)]
    return [document] if isinstance(document, (int, float)) and not isinstance(document, bool) else []


def is_free(stack):
    """Texts that are not figures: the record's own words, commands, fixed sentences, the marks of axes."""
    for tag, attributes in stack:
        kinds = (attributes.get("class") or "").split()
        if tag in ("bdi", "code", "style", "head") or "fixed" in kinds or "number" in kinds:
            return True
        # Ends of the axes in the pictures' alternative texts and y-labels are looked at by the caller.
    return False


def check_numbers(checks, page, documents):
    marked = alternative = 0
    known = sorted(set(float(n) for n in numbers_of([documents["today"], documents["earlier"]])))
    for stack, text in page.texts:
        tag, attributes = stack[-1] if stack else ("", {})
        pointer = attributes.get("data-from")
        if pointer is not None:
            marked += check_marked(checks, documents, text, attributes.get("data-value", attributes.get("value")), pointer)
        elif tag == "time":
            when = attributes["datetime"]
            here = datetime.datetime.fromisoformat(when.replace("Z", "+00:00")).astimezone()
            if text not in (f"{here:%Y-%m-%d %H:%M}", f"{here:%Y-%m-%d}") or json.dumps(when) not in documents["text"]:
                checks.equal("local time", text, when)
        elif not is_free(stack) and re.search(r"\d", text):
            in_picture = any(name == "svg" for name, _ in stack)
            plain = re.sub(r"\b(from )?(0 to 360 degrees|20 Hz to 20 kHz)", "", text)
            for match in NUMBER.finditer(plain):
                alternative += 1
                if not in_picture or not any(shown_as(match, number) for number in known):
                    checks.equal(f"a number that the record does not have, in {text!r}", match.group(0), None)
    checks.equal("numbers were compared", marked > 100, True)
    print(f"  {marked} marked numbers, {alternative} in alternative texts")


def check_valid(checks, name, file):
    done = subprocess.run(["tidy", "-e", "-q", "--new-inline-tags", "data", str(file)], capture_output=True, text=True)
    lines = (done.stdout + done.stderr).splitlines()
    # Tidy is older than the element, which is in the HTML standard.
    complaints = [line for line in lines if not line.endswith("<data> is not approved by W3C")]
    checks.equal(f"{name}: tidy", (done.returncode < 2, complaints), (True, []))


def check_self_contained(checks, name, page, text):
    kinds = {tag for tag, _ in page.elements}
    checks.equal(f"{name}: no scripts, no frames, no other files",
                 kinds & {"script", "iframe", "object", "embed", "link", "img", "image", "use", "base", "form"}, set())
    addresses = [value for _, attributes in page.elements for key, value in attributes.items()
                 if key in ("href", "src", "xlink:href", "srcset", "action") and not value.startswith("#")]
    handlers = [key for _, attributes in page.elements for key in attributes if key.startswith("on") or key == "style"]
    checks.equal(f"{name}: no addresses, no handlers", addresses + handlers, [])
    style = "".join(re.findall(r"<style>(.*?)</style>", text, re.DOTALL))
    checks.equal(f"{name}: its style loads nothing", re.findall(r"url\(|@import|expression\(", style), [])
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    checks.equal(f"{name}: every id once", len(ids), len(set(ids)))


def sheet_of(program, record, folder, *options):
    file = folder / "made.html"
    outside.run(program, "sheet", record, "--output", file, "--force", *options, statuses=(0,))
    return file, file.read_text()


def written(folder, record):
    path = folder / "edited.json"
    path.write_text(json.dumps(record))
    return path


def check_hostile(checks, program, record, folder):
    for index, name in enumerate(HOSTILE):
        edited = json.loads(json.dumps(record))
        edited["name"] = name
        edited["rehearsal"] = {"car": name, "seed": 7, "faults": [{"words": name, "found": False}]}
        edited["system"]["job"] = {key: name for key in DETAILS}
        edited["entries"].append({"kind": "job", "result": {"owner": name + name}})
        for amplifier in edited["system"]["amplifier"]:
            amplifier["name"] = name
            for channel in amplifier["channel"]:
                channel["name"] = channel["speaker"] = channel["control"] = name
        for entry in edited["entries"]:
            entry["subject"] = entry.get("subject") and name
            entry["note"] = name
            for channel in entry["result"].get("channels", []):
                channel["verdict"] = name
                channel["reasons"] = [name]
                channel["name"] = name
                channel["findings"] = [{"severity": severity, "text": name} for severity in ("fault", "note")]
                channel["cause"] = {"sentence": name, "remedy": name}
            entry["result"].setdefault("file", {})["name"] = name
            for file in entry["result"].get("files", []):
                file["name"] = name
            entry["calibration"] = {"file": name, "meter": name, "volts_per_full_scale": 40.0, "date": name}
            entry["time"] = name
        file, text = sheet_of(program, written(folder, edited), folder)
        page = Page(text)
        check_self_contained(checks, f"hostile name {index}", page, text)
        check_valid(checks, f"hostile name {index}", file)
        inside = [data for stack, data in page.texts if any(tag == "bdi" for tag, _ in stack)]
        as_text = re.sub("[\x00\x1b\uFFFE]", "\uFFFD", name)
        checks.equal(f"hostile name {index}: whole, as text, on its own", as_text in inside, True)


def check_missing(checks, program, record, folder):
    bare = json.loads(json.dumps(record))
    bare["system"] = None
    bare["entries"] = [entry for entry in bare["entries"] if entry["kind"] != "calibration"]
    for entry in bare["entries"]:
        entry["note"], entry["calibration"] = "", None
        for channel in entry["result"].get("channels", []):
            channel.pop("curves", None)
            for key in ("level_v", "noise_a_v", "thdn_percent"):
                channel[key] = None
    file, text = sheet_of(program, written(folder, bare), folder)
    check_valid(checks, "bare record", file)
    whole = Page(sheet_of(program, written(folder, record), folder)[1]).words()
    checks.equal("what is missing is said", Page(text).words().count("not measured") > whole.count("not measured"), True)
    for phrase in ("THD+N: not measured", "No calibration", "the system is not described"):
        checks.equal(f"it says: {phrase}", phrase in Page(text).words(), True)
    empty = {"schema": "railtap.record/1", "name": "", "created": "", "system": None, "entries": []}
    file, text = sheet_of(program, written(folder, empty), folder)
    check_valid(checks, "empty record", file)
    checks.equal("an empty record gives a sheet", "No channel was measured" in text, True)
    odd = dict(empty, entries=[{"kind": "analysis", "result": {"channels": [{"verdict": 5, "level_v": "12", "curves": []}]}},
                               {"kind": "onset", "result": {"channels": {"a": 1}}}, {"kind": "target", "result": {}}])
    file, _ = sheet_of(program, written(folder, odd), folder)
    check_valid(checks, "record of odd kinds", file)


def miswired(record, subject):
    """The record in which a channel that is clean and at its target was found inverted when it was last verified."""
    sentence = subject + " is inverted: plus and minus are exchanged somewhere on the way."
    edited = json.loads(json.dumps(record))
    entry = [e for e in edited["entries"] if e["kind"] == "verification" and e["subject"] == subject][-1]
    channel = entry["result"]["channels"][0]
    channel["verdict"] = "wiring"
    channel["polarity"]["verdict"] = "inverted"
    channel["findings"].append({"severity": "fault", "text": sentence})
    return edited, sentence


def check_wiring(checks, program, record, folder):
    edited, sentence = miswired(record, "rear right")
    page = Page(sheet_of(program, written(folder, edited), folder)[1])
    words = page.words()
    checks.equal("the sentence stands among what is open", sentence.rstrip(".") in words[words.index("Still open"):words.index("Cautions")], True)
    bad = [data for stack, data in page.texts if any("bad" in (a.get("class") or "").split() for _, a in stack)]
    checks.equal("red in both tables, nothing else is", bad, ["wiring", "wiring"])
    for entry in edited["entries"]:  # as it was written before channels had a verdict
        for channel in entry["result"].get("channels", []) if entry["kind"] == "verification" else []:
            channel.pop("verdict", None)
    words = Page(sheet_of(program, written(folder, edited), folder)[1]).words()
    checks.equal("an older record says it too", "wiring" in words, True)


def check_owner(checks, program, record, folder):
    text = (folder / "van" / "sheet.html").read_text()
    words = Page(text).words()
    first = words[:words.index("Labels to cut out")]
    for name in ("front left", "front right", "rear left", "rear right", "bass"):
        checks.equal(f"{name} on the owner's page", name in first, True)
    checks.equal("what was mended", ["Found and corrected" in first, "front right carries the left side" in first,
                                     "high-pass" in first, "--allow-filters" in first], [True, True, True, False])
    order = ["Setup sheet", "Labels to cut out", "The chain", "Calibration", "Every channel in figures",
             "THD+N limit at", "To measure it again"]
    places = [words.find(part) for part in order]
    checks.equal("the owner's page, then the evidence in the order of work", places, sorted(places))
    named = dict(record, system=dict(record["system"], job={"vehicle": "old van", "owner": "A. Example"}))
    file = written(folder, named)
    outside.run(program, "record", file, "--vehicle", "new van", "--installer", "B. Example", "--date", "on a Sunday", statuses=(0,))
    words = Page(sheet_of(program, file, folder)[1]).words()
    checks.equal("vehicle, owner, installer, date", [part in words for part in
                                                     ("new van", "old van", "A. Example", "B. Example", "on a Sunday")],
                 [True, False, True, True, True])
    marked = dict(record, rehearsal={"car": "camper van", "seed": 7, "faults": [{"words": "a pair is swapped", "found": True}]})
    text = sheet_of(program, written(folder, marked), folder)[1]
    checks.equal("a rehearsal is marked, on each label too", Page(text).words().count("REHEARSAL"), 2 + 4)
    checks.equal("and nothing else is", "REHEARSAL" in words, False)
    checks.equal("with its faults", "a pair is swapped: corrected" in Page(text).words(), True)


def check_names(checks, program, record, folder):
    """A control's entries with two channels are told by the channels' names, and long names are whole in the picture."""
    both = {"kind": "analysis", "subject": "front", "stage": "amplifier", "moment": "after", "result": {"channels": [
        {"channel": 1, "verdict": "clean", "frequency_hz": 1000.0, "level_v": 14.0},
        {"channel": 2, "verdict": "clipped", "frequency_hz": 1000.0, "level_v": 15.0}]}}
    long = "the output behind the second row of seats on the kerb side"
    system = json.loads(json.dumps(record["system"]))
    system["amplifier"][0]["channel"][1]["name"] = long
    edited = dict(record, system=system, entries=[both])
    page = Page(sheet_of(program, written(folder, edited), folder)[1])
    words = page.words()
    checks.equal("names, not channel numbers", ("front left" in words, long in words, "channel 2" in words), (True, True, False))
    drawn = "".join(data.strip() + " " for stack, data in page.texts if any(tag == "text" for tag, _ in stack))
    checks.equal("the whole name in the chain's picture", long in drawn, True)
    system["amplifier"][0]["channel"][1]["name"] = long * 9
    words = Page(sheet_of(program, written(folder, edited), folder)[1]).words()
    checks.equal("a name that no box holds is written out below", long * 9 in words, True)


def check_refusals(checks, program, record, folder):
    newer = written(folder, dict(record, schema="railtap.record/2"))
    done = outside.run(program, "sheet", newer, "-o", folder / "no.html", statuses=(2,))
    checks.equal("a newer record is refused", "edited.json" in done.stderr, True)
    done = outside.run(program, "sheet", folder / "van", statuses=(2,))
    checks.equal("an existing sheet is kept", "--force" in done.stderr, True)
    checks.equal("nothing was left", (folder / "no.html").exists(), False)


def check_comparison(checks, program, record, folder):
    earlier = json.loads(json.dumps(record))
    earlier["created"] = "2025-01-02T03:04:05Z"
    for entry in earlier["entries"]:
        for channel in entry["result"].get("channels", []):
            if isinstance(channel.get("level_v"), float):
                channel["level_v"] *= 0.9
    before = folder / "before.json"
    before.write_text(json.dumps(earlier))
    file, text = sheet_of(program, written(folder, record), folder, "--compare", before)
    page = Page(text)
    check_valid(checks, "comparison", file)
    documents = {"today": record, "earlier": earlier, "text": json.dumps([record, earlier])}
    check_numbers(checks, page, documents)
    from_earlier = [a for _, a in page.elements if a.get("data-from", "").startswith("#earlier")]
    checks.equal("numbers of the earlier record stand beside", len(from_earlier) > 10, True)
    pairs = text.split('<div class="beside">')[1:]
    checks.equal("pictures side by side, 4 of each of 5 outputs and more", len(pairs) >= 20, True)
    halves = [(pair.split("this record")[0].count("<svg"), pair.split("this record")[1].count("the earlier record"))
              for pair in pairs]
    checks.equal("one of each record", set(halves), {(1, 1)})


def recordings_of(entry):
    result = entry["result"]
    return [file["name"] for file in result.get("files", [result.get("file", {"name": None})])]


def check_commands(checks, program, text, record, folder):
    """The commands that the sheet says to measure again with run, and find what the record has."""
    marked = re.findall(r"<li><code>(.*?)</code></li>", text)
    lines = [html.unescape(re.sub(r"</?span>", "", line)) for line in marked]
    checks.equal("no option that a line's end could break", re.findall(r"(?<!<span>)--\w", "".join(marked)), [])
    kinds = {"analyze": "analysis", "onset": "onset", "verify": "verification"}
    checks.equal("commands of every kind", {shlex.split(line)[1] for line in lines}, set(kinds))
    for line in lines:
        words = shlex.split(line)
        outside.run(program, *words[1:], cwd=folder)
        entry = json.loads((folder / "job.json").read_text())["entries"][-1]
        first = next(e for e in record["entries"] if all(e[key] == entry[key] for key in ("kind", "subject", "stage", "moment"))
                     and recordings_of(e) == recordings_of(entry))
        checks.equal(f"kind of entry that {line} makes", entry["kind"], kinds[words[1]])
        numbers = {channel["channel"]: channel for channel in entry["result"]["channels"]}
        for channel in first["result"]["channels"]:
            again = numbers[channel["channel"]]
            for key in ("verdict", "level_v", "highest_clean", "identity", "silence"):
                if key in channel:
                    checks.equal(f"{key} again, of {entry['subject']}", again[key] == channel[key], True)
    print(f"  {len(lines)} commands from the sheet were run")


def main(program):
    checks = outside.Checks("the record's own JSON; HTML Tidy; the HTML standard on data and bdi")
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        outside.demo(program, folder / "van")
        record = json.loads((folder / "van" / "job.json").read_text())
        text = (folder / "van" / "sheet.html").read_text()
        page = Page(text)
        check_numbers(checks, page, {"today": record, "earlier": None, "text": json.dumps(record)})
        check_self_contained(checks, "the demo's sheet", page, text)
        check_valid(checks, "the demo's sheet", folder / "van" / "sheet.html")
        pictures = [a for tag, a in page.elements if tag == "svg" and a.get("class") == "plot"]
        checks.equal("pictures, 4 of each of 5 outputs, 2 as found, 1 of the head unit", len(pictures) >= 21, True)
        check_hostile(checks, program, record, folder)
        check_owner(checks, program, record, folder)
        check_wiring(checks, program, record, folder)
        check_names(checks, program, record, folder)
        check_missing(checks, program, record, folder)
        check_refusals(checks, program, record, folder)
        check_comparison(checks, program, record, folder)
        check_commands(checks, program, text, record, folder / "van")
    checks.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
