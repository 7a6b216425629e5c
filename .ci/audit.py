"""Asks what is known against the releases pinned here, and says in plain words what was looked at and what was not.

Exit 0: something was looked at and nothing was found. 1: something was found. 2: nothing could be looked at.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve().parent
PINS = HERE / "constraints.txt"
KNOWN_BAD = ("django", "2.2.0")
"""A release with published faults. A source that has nothing to say about it is not believed about the others."""
SERVICES = ("pypi", "osv")
LONGEST = 120
"""Seconds for one command: half a minute is usual, a busy machine takes longer."""
FACING = (
    "django", "gunicorn", "waitress", "weasyprint", "fonttools", "psycopg", "redis", "celery", "icalendar", "pyrage",
)  # fmt: skip
"""What reads words from outside, by name in lower case: a patch release of these is worth reading about."""
LIBRARIES = """
import sqlite3, ssl, weasyprint
weasyprint.HTML(string="<p>Tape").write_pdf()
for line in open("/proc/self/maps"):
    print(line.split()[-1])
"""
PARTS = 3
DRY_RUN = (
    sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--no-deps", "--quiet",
    "--retries", "1", "--timeout", "10", "--only-binary", ":all:",
)  # fmt: skip
Pins = Mapping[str, str]


@dataclass
class Done:
    """How a command ended. code: its exit status, 127 where it is not there, 124 where it took too long."""

    code: int
    out: str
    err: str


Run = Callable[[Sequence[str]], Done]


def run(command: Sequence[str]) -> Done:
    """Run command without a terminal for at most two minutes."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST, check=False)
    except FileNotFoundError:
        return Done(127, "", "not installed")
    except subprocess.TimeoutExpired:
        return Done(124, "", f"no answer within {LONGEST} seconds")
    return Done(done.returncode, done.stdout, done.stderr)


@dataclass
class Looked:
    """One source. missing: why it could not be asked; empty where it answered."""

    at: str
    found: list[str] = field(default_factory=list)
    missing: str = ""
    notes: list[str] = field(default_factory=list)


def pins_read(path: Path) -> Pins:
    """Name in lower case to version, of a file of lines such as Django==5.2.19."""
    lines = (line.partition("#")[0].strip() for line in path.read_text(encoding="utf-8").splitlines())
    return {name.strip().lower(): version.strip() for name, _, version in (one.partition("==") for one in lines if one)}


def asked_services(pins: Pins, path: Path, run: Run) -> Looked:
    """Published advisories, by pip-audit, from the first service that knows what is wrong with a bad release."""
    looked = Looked("published advisories, asked today (pip-audit)")
    told = []
    for service in SERVICES:
        probe = Path(f"/tmp/wearwindow-audit-{os.getpid()}-{service}")  # noqa: S108
        probe.write_text("{}=={}\n".format(*KNOWN_BAD), encoding="utf-8")
        try:
            known, _ = _advisories(run(_pip_audit(service, probe)))
        finally:
            probe.unlink()
        if known is None or not known:
            told.append(f"the service {service} does not answer from here")
            continue
        found, skipped = _advisories(run(_pip_audit(service, path)))
        if found is None or len(skipped) == len(pins):
            told.append(f"the service {service} stopped answering")
            continue
        looked.found = found
        looked.notes = [f"not known to {service}: {', '.join(skipped)}"] if skipped else []
        return looked
    looked.missing = "; ".join(told)
    return looked


def _pip_audit(service: str, path: Path) -> list[str]:
    return [
        sys.executable, "-m", "pip_audit", "-s", service, "-r", str(path), "--no-deps", "--disable-pip",
        "-f", "json", "--progress-spinner", "off", "--timeout", "5",
    ]  # fmt: skip


def _advisories(done: Done) -> tuple[list[str] | None, list[str]]:
    """What is wrong, and which names the service passed over; None where there was no readable answer."""
    try:
        rows = json.loads(done.out)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return None, []
    found = [f"{row['name']} {row['version']}: {fault['id']}" for row in rows for fault in row.get("vulns", [])]
    return found, [str(row["name"]) for row in rows if "skip_reason" in row]


def withdrawn(pins: Pins, run: Run) -> Looked:
    """Releases that their makers took back ("yanked") or that are gone, as the package index says."""
    looked = Looked("releases withdrawn by their makers (the package index)")
    wanted = [f"{name}=={version}" for name, version in pins.items()]
    parts = [wanted[at::PARTS] for at in range(PARTS) if wanted[at::PARTS]]
    with ThreadPoolExecutor(PARTS) as pool:
        for done in pool.map(lambda part: run([*DRY_RUN, *part]), parts):
            taken_back = re.findall(r"yanked version: '([^']+)' candidate \(version ([^ )]+)", done.err)
            looked.found += [f"{name} {version}: withdrawn" for name, version in taken_back]
            # "from versions: none" is also what pip says of a page that could not be had: that is no finding.
            unread = "from versions: none)" in done.err
            gone = None if unread else re.search(r"No matching distribution found for (\S+)", done.err)
            offline = re.search(r"connection|retrying|resolve|timed out|proxy", done.err, re.IGNORECASE)
            if done.code and gone and not offline:
                looked.found.append(f"{gone.group(1)}: the index has it no more")
            elif done.code and not taken_back:
                looked.missing = f"the index did not answer ({_last(done.err)})"
    return looked


def patches(pins: Pins, names: Sequence[str], run: Run) -> Looked:
    """Newer patch releases. They may hold a mended fault, or none: told, never failed for."""
    looked = Looked("newer patch releases of the packages that read words from outside (the package index)")
    wanted = [name for name in names if name in pins]

    def newest(name: str) -> str | None:
        done = run([sys.executable, "-m", "pip", "index", "versions", name, "--timeout", "10", "--retries", "1"])
        versions = re.search(r"Available versions: (.*)", done.out)
        if done.code or versions is None:
            return None
        series = pins[name].split(".")[:2]
        return next((one for one in versions.group(1).split(", ") if one.split(".")[:2] == series), pins[name])

    with ThreadPoolExecutor(4) as pool:
        answers = dict(zip(wanted, pool.map(newest, wanted), strict=True))
    silent = [name for name, answer in answers.items() if answer is None]
    if len(silent) == len(wanted):
        looked.missing = "the index did not answer"
        return looked
    looked.notes = [
        f"{name} {pins[name]} is pinned, {answer} is out: read its notes, take it within 14 days if it mends a fault"
        for name, answer in answers.items()
        if answer not in (None, pins[name])
    ]
    looked.notes += [f"no answer about {', '.join(silent)}"] if silent else []
    return looked


def libraries(run: Run, *, mend: bool) -> Looked:
    """Security updates of Debian's that wait for libraries which making a PDF loads into the process.

    mend: install those found, and look again.
    """
    looked = Looked("Debian's security updates of the libraries loaded to make a PDF (apt)")
    words = run([sys.executable, "-c", LIBRARIES]).out.split()
    loaded = {word for word in words if re.match(r"(/usr)?/lib/.*\.so", word)}
    if not loaded:
        looked.missing = "the PDF library did not load"
        return looked
    both = sorted(loaded | {path.removeprefix("/usr") for path in loaded})
    packages = {line.split(":")[0] for line in run(["dpkg-query", "-S", *both]).out.splitlines() if ": " in line}
    if not packages:
        looked.missing = "this is no Debian: see what your system says of pango, harfbuzz, fontconfig and freetype"
        return looked
    update = run(["apt-get", "update", "-qq", "-o", "Acquire::http::Timeout=10"])
    if update.code or "Failed to fetch" in update.err:
        looked.missing = f"apt's lists could not be renewed ({_last(update.err)})"
        return looked
    waiting = _waiting(packages, run)
    if waiting and mend:
        run(["apt-get", "install", "-y", "-qq", "--only-upgrade", *waiting])
        looked.notes = [f"updated just now: {', '.join(sorted(set(waiting) - set(_waiting(packages, run) or ())))}"]
        waiting = _waiting(packages, run)
    if waiting is None:
        looked.missing = "apt did not answer"
        return looked
    looked.found = [f"{name} {new}. Run: apt-get install --only-upgrade {name}" for name, new in waiting.items()]
    looked.at += f", {len(packages)} packages"
    return looked


def _waiting(packages: Collection[str], run: Run) -> dict[str, str] | None:
    """Package to the version that waits for it in Debian's security archive; None where apt does not say."""
    plan = run(["apt-get", "-s", "install", "--only-upgrade", *sorted(packages)])
    if plan.code:
        return None
    rows = re.findall(r"^Inst (\S+) \[[^]]*\] \((\S+) ([^)]*)\)", plan.out, re.MULTILINE)
    return {name: new for name, new, origin in rows if "security" in origin.lower() and name in packages}


def _last(text: str) -> str:
    lines = [line for line in text.strip().splitlines() if line.strip()]
    return lines[-1][:120] if lines else "no word"


def report(sources: Sequence[Looked]) -> tuple[list[str], int]:
    """What to print, and the exit status."""
    lines = []
    for one in sources:
        state = f"{len(one.found)} FOUND" if one.found else "NOT LOOKED AT" if one.missing else "nothing found"
        lines.append(f"{state}: {one.at}{': ' + one.missing if one.missing else ''}")
        lines += [f"    {found}" for found in one.found] + [f"    note: {note}" for note in one.notes]
    found = sum(len(one.found) for one in sources)
    missing = [one for one in sources if one.missing]
    if found:
        return [*lines, f"AUDIT FAILED: {found} found; {len(missing)} of {len(sources)} sources were not looked at"], 1
    if len(missing) == len(sources):
        return [*lines, "AUDIT FAILED: nothing could be looked at, so nothing is known"], 2
    rest = f", but {len(missing)} of {len(sources)} sources were NOT looked at" if missing else ""
    return [*lines, f"Audit: nothing found in what was looked at{rest}"], 0


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pins", type=Path, default=PINS)
    parser.add_argument("--only", choices=["services", "withdrawn", "patches", "libraries"], action="append")
    parser.add_argument(
        "--mend", action="store_true", help="install Debian's waiting security updates, then look again"
    )
    chosen = parser.parse_args(arguments)
    pins, begun = pins_read(chosen.pins), time.monotonic()
    sources: dict[str, Callable[[], Looked]] = {
        "services": lambda: asked_services(pins, chosen.pins, run),
        "withdrawn": lambda: withdrawn(pins, run),
        "libraries": lambda: libraries(run, mend=chosen.mend),
        "patches": lambda: patches(pins, FACING, run),
    }
    with ThreadPoolExecutor(3) as pool:
        looks = [pool.submit(ask) for name, ask in sources.items() if not chosen.only or name in chosen.only]
    lines, status = report([look.result() for look in looks])
    print("\n".join(lines))
    print(f"{len(pins)} pinned releases, {time.monotonic() - begun:.0f} s")
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
