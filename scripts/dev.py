#!/usr/bin/env python3
"""One entry for everybody who works on habmap: python3 scripts/dev.py COMMAND.

  demo [DIR]        set up, then do the whole main job on the sample property (default .demo/)
  test [ARGS...]    set up, outside programs too, then run the tests; ARGS go to pytest.
                    --lowest: with the oldest versions that pyproject.toml allows, in .venv-lowest
  check             read the code for faults: ruff, ruff format --check, mypy; spelling; the page's scripts with biome
  format            lay out the code: ruff format, and what ruff can mend by itself
  bench [ARGS...]   run every scripts/bench_*.py; ARGS go to each
  audit             look up known faults of the pinned versions, where the registry can tell
  mutants [ARGS...] change the rules one at a time and see whether a test finds it (scripts/mutants.py --help)
  soak [ARGS...]    put the program under fire for a while: --minutes N --seed S --kind K (python -m soak --help)
  docs [--check]    write the pictures of README.md and the schemas of the JSON
  package [--check] build the zipped folder for people without Python; --check tries it where no Python is

Needs only Python 3.11 or newer with pip. Everything is installed into .venv in the top folder, at the versions of
scripts/constraints.txt, and used again as long as neither that file nor pyproject.toml changes.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from outside import OUTSIDE, in_ci, path_of, why_missing, works

TOP = Path(__file__).resolve().parent.parent
VENV = TOP / ".venv"
CONSTRAINTS = TOP / "scripts" / "constraints.txt"
LOWEST = "--lowest"
#: The package holds what this environment does: none of what tests need.
PACKAGING = TOP / ".venv-package"
#: What people and contributors read, in US English.
SPELLED = ("habmap", "scripts", "sample_layers/README.md", "README.md", "DEVELOPERS.md", "CHANGELOG.md")
DEMO = TOP / ".demo"
#: What reads the page's scripts, and where they lie.
JS = TOP / "scripts" / "js"
PAGE_SCRIPTS = "habmap/show/templates"
OLDEST_PYTHON = (3, 11)
#: Where Linux keeps files in memory, and how much of it must be free before tests put theirs there [bytes].
SHARED_MEMORY = Path("/dev/shm")
LEAST_MEMORY = 6 * 1024**3
APT_TRIES = 3
#: So long the registry may take to tell of known faults [s].
AUDIT_S = 300


def main(words: list[str]) -> int:
    if sys.version_info < OLDEST_PYTHON:
        say(f"habmap needs Python 3.11 or newer; this is {sys.version.split()[0]} ({sys.executable}).")
        say("Install a newer one and call it by name, for example: python3.12 scripts/dev.py demo")
        return 2
    commands = {
        "demo": demo,
        "test": test,
        "check": check,
        "format": format_,
        "bench": bench,
        "docs": docs,
        "mutants": mutants,
        "soak": soak,
        "audit": audit,
        "package": package,
    }
    if not words or words[0] in ("-h", "--help", "help"):
        print(__doc__)
        return 0
    if words[0] not in commands:
        say(f"no command called {words[0]!r}; there are: {', '.join(commands)}")
        return 2
    try:
        return commands[words[0]](words[1:])
    except subprocess.CalledProcessError as error:
        say(f"this step failed with exit code {error.returncode}: {' '.join(map(str, error.cmd))}")
        return 1


# --- commands -----------------------------------------------------------------------------------------------


def demo(words: list[str]) -> int:
    """Do the whole main job on the sample property."""
    if len(words) > 1 or any(word.startswith("-") for word in words):
        say("demo takes one folder at most: python3 scripts/dev.py demo [DIR]")
        return 2
    folder = Path(words[0]) if words else DEMO
    set_up()
    # Only the default folder is ours to make anew; in a folder that the person named, the command itself decides.
    again = ["--overwrite"] if folder == DEMO and folder.exists() else []
    return run([program("habmap"), "demo", folder, *again])


def test(words: list[str]) -> int:
    """Run the tests, with the programs that they compare with."""
    if LOWEST in words:
        words.remove(LOWEST)
        use_lowest_versions()
        # What an old library says of a newer one beneath it is not ours to mend.
        words = ["-W", "default::DeprecationWarning", "-W", "default::PendingDeprecationWarning",
                 "-m", "not package and not pinned", *words]  # fmt: skip
    whole = not words
    set_up("test", "region", *(["audit"] if whole else []))
    get_programs()
    looking = look_up_faults() if whole else None
    # One worker for each core: most tests run the command in a process of its own and wait for it. Neighbors in a
    # file stay together, so that what they share is made once.
    with test_room() as env:
        code = run([program("python"), "-m", "pytest", "-n", "auto", "--dist", "worksteal", *words], cwd=TOP, env=env)
    if looking is not None:
        tell_faults(looking)  # what became known overnight is no fault of the change that is tested
    return code


@contextlib.contextmanager
def test_room() -> Iterator[dict[str, str]]:
    """Yield the environment of the tests, with a folder in memory for their files where the machine has plenty.

    The tens of thousands of calls by which the program has its files brought to the disk return at once there.
    """
    env = dict(os.environ)
    try:
        free = shutil.disk_usage(SHARED_MEMORY).free
        told = Path("/proc/meminfo").read_text(encoding="ascii")
        free = min(free, int(told.split("MemAvailable:")[1].split()[0]) * 1024)
    except (OSError, IndexError, ValueError):
        free = 0  # no Linux, or one that does not tell
    if free < LEAST_MEMORY:
        yield env
        return
    with tempfile.TemporaryDirectory(prefix="habmap-tests-", dir=SHARED_MEMORY, ignore_cleanup_errors=True) as folder:
        yield {**env, "PYTEST_DEBUG_TEMPROOT": folder}


def check(words: list[str]) -> int:
    """Read the code for faults; every reader runs even when an earlier one found some."""
    set_up("check")
    codes = [
        run([program("ruff"), "check", "."], cwd=TOP),
        run([program("ruff"), "format", "--check", "."], cwd=TOP),
        run([program("mypy")], cwd=TOP),
        run([program("codespell"), *SPELLED], cwd=TOP),
        read_scripts("check"),
    ]
    return max(codes)


def format_(words: list[str]) -> int:
    """Lay out the code."""
    set_up("check")
    return max(
        run([program("ruff"), "check", "--fix", "--exit-zero", "--quiet", "."], cwd=TOP),
        run([program("ruff"), "format", "."], cwd=TOP),
        read_scripts("check", "--write"),
    )


def read_scripts(*words: str) -> int:
    """Read or lay out the scripts of the map page with the reader that scripts/js names, installed from npm."""
    wanted = json.loads((JS / "package.json").read_text(encoding="utf-8"))["devDependencies"]
    npm = shutil.which("npm")
    if npm is None:
        say("the page's scripts are not read: no npm here (Debian: apt-get install npm)")
        return 1 if in_ci() else 0
    home = VENV / "js"
    for name, version in wanted.items():
        there = home / "node_modules" / name / "package.json"
        if not there.exists() or json.loads(there.read_text(encoding="utf-8"))["version"] != version:
            say(f"installing {name} {version} into .venv")
            quiet = ["--no-save", "--no-audit", "--no-fund", "--silent"]
            subprocess.run([npm, "install", "--prefix", str(home), *quiet, f"{name}@{version}"], check=True)
    reader = home / "node_modules" / ".bin" / ("biome.cmd" if os.name == "nt" else "biome")
    return run([reader, *words, f"--config-path={JS}", PAGE_SCRIPTS], cwd=TOP)


def bench(words: list[str]) -> int:
    """Run every benchmark."""
    set_up("test", "region")
    get_programs("gdaldem")
    scripts = sorted((TOP / "scripts").glob("bench_*.py"))
    return max((run([program("python"), script, *words], cwd=TOP) for script in scripts), default=0)


def audit(words: list[str]) -> int:
    """Look up known faults of every pinned library."""
    set_up("audit")
    return tell_faults(look_up_faults())


def look_up_faults() -> subprocess.Popen[str]:
    """Begin to ask the registry for known faults of the pinned versions."""
    asked = [
        "-r",
        str(CONSTRAINTS),
        "--no-deps",
        "--disable-pip",
        "--format=json",
        "--progress-spinner=off",
        "--timeout=10",
    ]
    return subprocess.Popen(
        [program("pip-audit"), *asked],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def tell_faults(looking: subprocess.Popen[str]) -> int:
    """Say what is known of the pinned versions, or that it could not be looked up; 1 where a fault is known."""
    words = ""
    try:
        out, words = looking.communicate(timeout=AUDIT_S)
        libraries = json.loads(out)["dependencies"]
    except (subprocess.TimeoutExpired, ValueError, KeyError):
        looking.kill()
        last = (words.strip().splitlines() or ["no answer"])[-1]
        say(f"known faults of the pinned versions could not be looked up: {last}")
        return 0
    known = [(one["name"], one["version"], fault["id"]) for one in libraries for fault in one.get("vulns", ())]
    silent = [one["name"] for one in libraries if "skip_reason" in one]
    for name, version, fault in known:
        say(f"known fault of {name} {version}: {fault}")
    told = len(libraries) - len(silent)
    say(f"known faults of the pinned versions: {len(known)} in {told}; of {len(silent)} the registry could not tell")
    return int(bool(known))


def mutants(words: list[str]) -> int:
    """Put wrong rules into the code, one at a time, and count those that the tests find."""
    set_up("test", "mutants")
    return run([program("python"), TOP / "scripts" / "mutants.py", *words], cwd=TOP)


def soak(words: list[str]) -> int:
    """Put the program under fire: hostile inputs, kills, power cuts, failing disks, copies in any order."""
    set_up("test", "region", "soak")
    return run([program("python"), "-m", "soak", "--keep", TOP / ".soak", *words], cwd=TOP / "scripts")


def docs(words: list[str]) -> int:
    """Write, or with --check compare, the pictures in README.md and the schemas."""
    set_up("test")
    get_programs("poppler", *([] if "--check" in words else ["browser"]))
    return run([program("python"), TOP / "scripts" / "_docs.py", *words], cwd=TOP)


def package(words: list[str]) -> int:
    """Build the zipped folder for people without Python, in an environment that holds nothing but what it needs."""
    global VENV
    if set(words) - {"--check"}:
        say("package takes --check and nothing else")
        return 2
    VENV = PACKAGING
    if read_stamp().get("fingerprint") != fingerprint():
        shutil.rmtree(PACKAGING, ignore_errors=True)  # what nothing needs any more must not go along
    set_up("package")
    code = run([program("python"), TOP / "scripts" / "package.py"], cwd=TOP)
    if code or not words:
        return code
    VENV = TOP / ".venv"
    set_up("test")
    get_programs("package")
    return run([program("python"), "-m", "pytest", "-m", "package", "tests/packed"], cwd=TOP)


# --- the environment ----------------------------------------------------------------------------------------


def use_lowest_versions() -> None:
    """From here on work in an environment of its own, each library at the lower bound of pyproject.toml."""
    global VENV
    VENV = TOP / ".venv-lowest"


def constraints() -> str:
    """Return the versions that the environment must hold, a requirement a line."""
    if VENV.name != ".venv-lowest":
        return CONSTRAINTS.read_text(encoding="utf-8")
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    bounds = [*project["dependencies"], *extras["region"], *extras["test"]]
    return "\n".join(re.sub(r">=([^,; ]+).*", r"==\1", bound) for bound in bounds) + "\n"


def set_up(*extras: str) -> None:
    """Make .venv fit pyproject.toml and the constraints, with these extras beside those it already has."""
    wanted = fingerprint()
    stamp = read_stamp()
    if stamp.get("fingerprint") == wanted and set(extras) <= set(stamp.get("extras", [])):
        return
    all_extras = sorted({*extras, *stamp.get("extras", [])})
    if not works([program("python"), "--version"]):
        say("making .venv")
        make_venv()
    say("installing habmap and what it needs into .venv (the first time takes a minute or two)")
    versions = VENV / "habmap-constraints.txt"
    versions.write_text(constraints(), encoding="utf-8")
    name = f"{TOP}[{','.join(all_extras)}]" if all_extras else str(TOP)
    subprocess.run(
        [
            *pip(),
            "install",
            "--disable-pip-version-check",
            "--no-input",
            "--quiet",
            "--retries=5",
            "--timeout=60",
            "--constraint",
            str(versions),
            "--editable",
            name,
        ],
        check=True,
        stdin=subprocess.DEVNULL,
    )
    stamp_file().write_text(json.dumps({"fingerprint": wanted, "extras": all_extras}) + "\n", encoding="utf-8")


def fingerprint() -> str:
    """Digest of everything that decides what .venv must hold, its own place on the disk too."""
    digest = hashlib.sha256()
    for part in ((TOP / "pyproject.toml").read_bytes(), constraints().encode(), str(TOP).encode()):
        digest.update(hashlib.sha256(part).digest())
    return digest.hexdigest()


def read_stamp() -> dict[str, Any]:
    """Return what the last set-up left; an empty stamp when there is none or the environment no longer runs."""
    try:
        stamp = json.loads(stamp_file().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) and works([program("python"), "--version"]) else {}


def stamp_file() -> Path:
    """Return where the last set-up of this environment left what it did."""
    return VENV / "habmap-stamp.json"


def make_venv() -> None:
    """Make a fresh .venv; where Python came without ensurepip, pip from outside fills it."""
    # A half-made or moved environment is of no use; only our own .venv is ever removed.
    shutil.rmtree(VENV, ignore_errors=True)
    made = subprocess.run([sys.executable, "-m", "venv", str(VENV)], capture_output=True, text=True, check=False)
    if made.returncode == 0:
        return
    shutil.rmtree(VENV, ignore_errors=True)
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(VENV)], check=True)


def pip() -> list[str]:
    """Return the words that call pip for .venv: its own, else that of the Python which runs this script."""
    inside = [str(program("python")), "-m", "pip"]
    if works([*inside, "--version"]):
        return inside
    outside = [sys.executable, "-m", "pip", "--python", str(program("python"))]
    if works([*outside, "--version"]):
        return outside
    sys.exit("no pip here: install it (Debian: apt-get install python3-venv) and call this again")


def program(name: str) -> Path:
    """Return where .venv keeps a program."""
    return VENV / "Scripts" / f"{name}.exe" if os.name == "nt" else VENV / "bin" / name


# --- outside programs ---------------------------------------------------------------------------------------


def get_programs(*marks: str) -> None:
    """Install the outside programs behind these test marks (all of them by default), where this machine lets us."""
    missing = [mark for mark in marks or OUTSIDE if why_missing(mark, str(program("python")))]
    if not missing:
        return
    packages = list(dict.fromkeys(package for mark in missing for package in OUTSIDE[mark].packages))
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    if is_root and shutil.which("apt-get"):
        say(f"installing Debian's {', '.join(packages)} for the tests")
        apt_get(packages)
        path_of.cache_clear()
        why_missing.cache_clear()
    reasons = {mark: reason for mark in missing if (reason := why_missing(mark, str(program("python"))))}
    for mark, reason in reasons.items():
        say(f"tests marked '{mark}' will be {'failed' if in_ci() else 'skipped'}: {reason}")


def apt_get(packages: list[str]) -> None:
    """Install packages without a question asked; a busy or stumbling mirror gets two more tries."""
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    options = ["-y", "-qq", "-o", "DPkg::Lock::Timeout=300", "-o", "Acquire::Retries=3"]
    for attempt in range(1, APT_TRIES + 1):
        codes = [
            subprocess.run(command, env=quiet, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL).returncode
            for command in (
                ["apt-get", "update", *options],
                ["apt-get", "install", "--no-install-recommends", *options, *packages],
            )
        ]
        if codes[-1] == 0:
            return
        say(f"apt-get did not manage it (try {attempt} of {APT_TRIES})")
        if attempt < APT_TRIES:
            time.sleep(5 * attempt)


# --- small tools --------------------------------------------------------------------------------------------


def run(command: list[object], cwd: Path | None = None, env: dict[str, str] | None = None) -> int:
    """Run a program on this terminal and return its exit code."""
    words = [str(word) for word in command]
    sys.stdout.flush()
    return subprocess.run(words, cwd=cwd, env=env, check=False).returncode


def say(words: str) -> None:
    """Tell the person what happens."""
    print(f"dev: {words}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)
