#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The Debian package: built, installed into a system root of its own, used, and removed without a trace."""
import pathlib
import subprocess
import sys
import tempfile

NEEDED = ("libc6", "libsndfile1", "libportaudio2", "libncursesw6", "libtomlplusplus3", "libcpp-httplib0.11", "libqrencode4")


def run(*command, **keywords):
    done = subprocess.run([str(word) for word in command], capture_output=True, text=True, **keywords)
    assert done.returncode == 0, f"{command}: {done.returncode}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
    return done.stdout


def build_package(build, folder):
    run("cpack", "-G", "DEB", "-B", folder, "--config", build / "CPackConfig.cmake")
    packages = list(folder.glob("*.deb"))
    assert len(packages) == 1, packages
    depends = run("dpkg-deb", "--field", packages[0], "Depends")
    for library in NEEDED:
        assert library in depends, f"the package does not depend on {library}: {depends}"
    return packages[0]


def dpkg(root, *arguments):
    """dpkg on a root of its own; what the package depends on is outside of it."""
    return run("dpkg", f"--root={root}", "--force-depends", "--force-not-root", "--force-bad-path", "--no-triggers", *arguments)


def empty_root(folder):
    root = folder / "root"
    for name in ("info", "updates"):
        (root / "var/lib/dpkg" / name).mkdir(parents=True)
    (root / "var/lib/dpkg/status").touch()
    (root / "var/log").mkdir(parents=True)
    return root


def files_of(root):
    return {path.relative_to(root).as_posix() for path in root.rglob("*")
            if path.is_file() and not path.relative_to(root).as_posix().startswith("var/")}


def main(build):
    with tempfile.TemporaryDirectory(prefix="railtap-package-") as name:
        folder = pathlib.Path(name)
        package = build_package(pathlib.Path(build), folder)
        root = empty_root(folder)
        dpkg(root, "--install", package)
        installed = files_of(root)
        assert {"usr/bin/railtap", "usr/share/man/man1/railtap.1", "usr/share/doc/railtap/README.md"} <= installed, installed
        program = root / "usr/bin/railtap"
        demo = folder / "demo"
        assert "within 0.25 dB of their targets" in run(program, "demo", demo)
        dpkg(root, "--purge", "railtap")
        assert not files_of(root), f"left behind: {files_of(root)}"
        print(f"{package.name}: {len(installed)} files installed, the demo ran, all removed")


if __name__ == "__main__":
    main(sys.argv[1])
