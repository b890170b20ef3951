#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""What the commands that write do when they cannot: nothing half-written, nothing overwritten.

One sentence on standard error and exit status 2; 130 after Ctrl-C.
"""
import os
import pathlib
import random
import resource
import signal
import subprocess
import sys
import time

import outside


def tree(folder):
    """Every file below a folder, with its content's size and time."""
    return {str(path.relative_to(folder)): (path.stat().st_size, path.stat().st_mtime_ns)
            for path in pathlib.Path(folder).rglob("*") if path.is_file()}


def failed_cleanly(done, folder, before, status=2):
    assert done.returncode == status, f"exit {done.returncode}: {done.stderr}"
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, f"not one sentence on standard error: {lines}"
    assert tree(folder) == before, f"left behind: {sorted(set(tree(folder)) ^ set(before))}"
    print(lines[0])


def read_only_folder(program, folder):
    inside = folder / "locked"
    inside.mkdir()
    inside.chmod(0o555)
    command = [program, "tones", str(inside / "kit")]
    if outside.is_root():  # root may write anywhere
        command = outside.as_nobody(command, folder)
    failed_cleanly(subprocess.run(command, capture_output=True, text=True), inside, {})


def file_size_limit(program, folder):
    """A disk that fills up in the middle of the kit, as a limit on the size of a file."""
    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # the write then fails, as on a full disk
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
    done = subprocess.run([program, "tones", str(folder / "kit")], capture_output=True, text=True,
                          preexec_fn=limit, restore_signals=False)
    failed_cleanly(done, folder, {})


def full_disk(program, folder):
    """A real one, of 300 kB, where this machine lets a test mount it."""
    mount = folder / "disk"
    mount.mkdir()
    script = ('mount -t tmpfs -o size=300k tmpfs "$1" || exit 77; "$0" tones "$1/kit"; status=$?; '
              'find "$1" -type f >&2; exit $status')
    done = subprocess.run(["unshare", "--map-root-user", "--mount", "sh", "-c", script, program, str(mount)],
                          capture_output=True, text=True)
    if done.returncode in (1, 77) and "railtap" not in done.stderr:
        print(f"this machine does not let a test mount a disk: {done.stderr.strip()}")
        return
    failed_cleanly(done, folder, {})


def existing_files_stay(program, folder):
    kit = folder / "kit"
    outside.run(program, "tones", kit, statuses=(0,))
    victim = sorted(path for path in kit.rglob("*") if path.is_file())[0]
    victim.write_text("somebody's own notes")
    before = tree(kit)
    done = subprocess.run([program, "tones", str(kit)], capture_output=True, text=True)
    failed_cleanly(done, kit, before)
    assert victim.read_text() == "somebody's own notes"


def catches_interrupt(process):
    """Whether the program has come so far that it ends in good order on Ctrl-C."""
    try:
        status = pathlib.Path(f"/proc/{process}/status").read_text()
    except OSError:  # it has ended
        return False
    caught = int(status.split("SigCgt:")[1].split()[0], 16)
    return caught >> (signal.SIGINT - 1) & 1 == 1


def interrupted_after(program, arguments, ready, seconds=30):
    """Sends Ctrl-C as soon as the program minds it and `ready()` holds; None when the program was faster."""
    child = subprocess.Popen([program, *map(str, arguments)], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                             text=True)
    deadline = time.monotonic() + seconds
    while child.poll() is None and not (catches_interrupt(child.pid) and ready()):
        assert time.monotonic() < deadline, "it never came to the point"
        time.sleep(0.0005)
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=30)
    return subprocess.CompletedProcess(arguments, child.returncode, out, err)


def interrupted_tones(program, folder):
    for attempt in range(5):
        kit = folder / f"kit{attempt}"
        done = interrupted_after(program, ["tones", kit], lambda: kit.exists() and any(kit.iterdir()))
        if done.returncode != 0:
            break
    assert done.returncode == 130, f"exit {done.returncode}: {done.stderr}"
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    unfinished = [name for name in tree(kit) if not outside.reads_whole(kit / name)]
    assert not unfinished, f"half-written: {unfinished}"
    print(f"{done.stderr.strip()} ({len(tree(kit))} whole files stayed)")


def interrupted_analysis(program, folder):
    """A long file: two hours of eight channels, as holes on the disk."""
    path = folder / "long.wav"
    outside.write_wav(path, outside.sine(997, -6).reshape(-1, 8), rate=48000, encoding="16")
    raw = bytearray(path.read_bytes()[:44])
    size = 0xF0000000
    raw[4:8] = (size + 36).to_bytes(4, "little")
    raw[40:44] = size.to_bytes(4, "little")
    path.write_bytes(raw)
    os.truncate(path, size + 44)
    started = time.monotonic()
    done = interrupted_after(program, ["analyze", path], lambda: time.monotonic() - started > 0.3)
    assert done.returncode == 130, f"exit {done.returncode}: {done.stderr}"
    assert len(done.stderr.strip().splitlines()) == 1 and done.stdout == "", (done.stderr, done.stdout)
    print(done.stderr.strip())


def written_elsewhere(program, folder):
    """A record, a tone and the commands that make one file of them: arguments, to be followed by the file."""
    record, tone = folder / "job.json", outside.write_wav(folder / "tone.wav", outside.sine(997, -20))
    outside.run(program, "target", "--power", "55W", "--load", "4ohm", "--record", record)
    return {"sheet.html": ["sheet", record, "--output"], "cal.toml": ["calibrate", tone, "--reading", "2V", "--output"],
            "picture.svg": ["analyze", tone, "--svg"], "van.toml": ["system"]}


def links(program, folder):
    """A link in the place of an output is a name that is taken, whether something is behind it or not. With --force the
    link is replaced; what it pointed to stays as it was."""
    calls = written_elsewhere(program, folder)
    for name, arguments in calls.items():
        place, behind = folder / "out" / name, folder / "behind" / name
        place.parent.mkdir(exist_ok=True)
        behind.parent.mkdir(exist_ok=True)
        place.symlink_to(behind)
        for precious in (None, "cannot be made again"):
            if precious:
                behind.write_text(precious)
            before = tree(folder)
            failed_cleanly(subprocess.run([program, *map(str, arguments), str(place)], capture_output=True, text=True), folder,
                           before)
            assert place.is_symlink() and behind.exists() == bool(precious)
        outside.run(program, *arguments, place, "--force")
        assert not place.is_symlink() and place.stat().st_size > 100, name
        assert behind.read_text() == "cannot be made again", name
    # A record is not made but added to: there the file behind the link grows, and the link stays.
    link = folder / "linked.json"
    link.symlink_to("job.json")
    outside.run(program, "record", link, "--note", "through the link")
    assert link.is_symlink() and "through the link" in (folder / "job.json").read_text()
    print(f"{len(calls)} commands and a record")


def read_only_folders(program, folder):
    """Every command that makes a file says in one sentence that it cannot, and what was there stays."""
    calls = {name: [*arguments, folder / f"locked-{name}" / name, "--force"]
             for name, arguments in written_elsewhere(program, folder).items()}
    calls["job.json"] = ["record", folder / "locked-job.json" / "new.json", "--note", "x"]
    for name, arguments in calls.items():
        inside = folder / f"locked-{name}"
        inside.mkdir()
        (inside / name).write_text("from before")
        before = tree(inside)
        inside.chmod(0o555)
        command = [program, *map(str, arguments)]
        if outside.is_root():
            command = outside.as_nobody(command, folder)
        failed_cleanly(subprocess.run(command, capture_output=True, text=True), inside, before)


def killed_over_an_earlier_sheet(program, folder):
    """Killed at random moments while a sheet takes an earlier one's place: there is always one of both, whole."""
    kills, chance, sheet = 100, random.Random(11), folder / "sheet.html"
    records, wholes = [], []
    for number in (1, 2):
        record = folder / f"job{number}.json"
        outside.run(program, "target", "--power", f"{50 * number}W", "--load", "4ohm", "--record", record)
        for _ in range(20):
            outside.run(program, "record", record, "--note", f"job {number} " + "x" * 20_000)
        started = time.monotonic()
        outside.run(program, "sheet", record, "--output", sheet, "--force")
        usual = time.monotonic() - started
        records.append(record)
        wholes.append(sheet.read_bytes())
    killed = replaced = 0
    for number in range(kills):
        before = sheet.read_bytes()
        child = subprocess.Popen([program, "sheet", str(records[number % 2]), "--output", str(sheet), "--force"],
                                 stdout=subprocess.DEVNULL)
        time.sleep(chance.uniform(0, 1.2 * usual))
        child.send_signal(signal.SIGKILL)
        status = child.wait(timeout=30)
        killed += status == -signal.SIGKILL
        after = sheet.read_bytes()
        assert after in wholes, f"after kill {number}: {len(after)} bytes that are neither sheet"
        assert status != 0 or after == wholes[number % 2]
        replaced += after != before
    assert killed > kills // 4, f"only {killed} of {kills} were caught at work"
    outside.run(program, "sheet", records[0], "--output", sheet, "--force")
    assert sheet.read_bytes() == wholes[0]
    left = [path.name for path in folder.iterdir() if path.name.startswith(".sheet.html.")]
    print(f"{killed} of {kills} killed at work, {replaced} times replaced, always whole; {len(left)} unfinished files left")
    assert not left, left


def hidden(folder):
    return sorted(path.name for path in folder.iterdir() if path.name.startswith("."))


def stop_at_work(program, kit, *options):
    """`tones`, stopped with its unfinished files in the folder."""
    before = set(hidden(kit)) if kit.is_dir() else set()
    child = subprocess.Popen([program, "tones", str(kit), *options], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.monotonic() + 60
    while not (kit.is_dir() and len(set(hidden(kit)) - before) >= 3):
        assert child.poll() is None and time.monotonic() < until, "no unfinished file was seen"
    child.send_signal(signal.SIGSTOP)
    return child


def killed_tones(program, folder):
    """What a killed run leaves goes with the next run into that folder; what another run is writing stays."""
    kit = folder / "kit"
    killed = stop_at_work(program, kit)
    killed.kill()
    killed.wait(timeout=30)
    left = hidden(kit)
    assert left and all(".railtap-" in name for name in left), left
    (kit / ".notes.railtap").write_text("somebody's own")
    other = stop_at_work(program, kit, "--container", "flac")
    in_use = set(hidden(kit)) - {".notes.railtap"}
    assert in_use and not in_use & set(left), (left, in_use)
    outside.run(program, "tones", kit, "--tone", "calibrate", statuses=(0,))
    # The one that is just being made may not be locked yet; its writer notices, and makes another.
    removed = in_use - set(hidden(kit))
    assert len(removed) <= 1, f"files of a run that goes on were removed: {removed}"
    other.send_signal(signal.SIGCONT)
    other.kill()
    other.wait(timeout=30)
    outside.run(program, "tones", kit, "--tone", "calibrate", "--force", statuses=(0,))
    assert hidden(kit) == [".notes.railtap"], hidden(kit)
    print(f"{len(left)} files of a killed run removed, {len(in_use)} of a run at work left alone")


CASES = (killed_tones, links, read_only_folders, killed_over_an_earlier_sheet, read_only_folder, file_size_limit, full_disk, existing_files_stay, interrupted_tones,
         interrupted_analysis)

if __name__ == "__main__":
    outside.run_cases(CASES, sys.argv[1])
