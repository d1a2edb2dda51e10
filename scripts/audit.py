"""Ask the advisory service about every locked package; all is well only when each was looked up.

Usage: python3 scripts/audit.py

Exit code 0: every package was looked up and nothing is known against it. 1: something is known.
2: a package was not looked up, which says nothing about it; the auditor itself would end with 0.
"""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripts import environment

PINNED = re.compile(r"^([a-z0-9_.-]+)==([^ ;\\]+)", re.M)
VULNERABLE, NOT_LOOKED_UP = 1, 2


def locked(text: str) -> dict[str, set[str]]:
    """Return the packages of a lock file with their versions, which may differ between Pythons.

    >>> locked("idna==3.18 ; python_version > '3'")
    {'idna': {'3.18'}}
    """
    versions: dict[str, set[str]] = {}
    for name, version in PINNED.findall(text):
        versions.setdefault(_plain(name), set()).add(version)
    return versions


def _plain(name: str) -> str:
    """Return a package's name as the index spells it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def verdict(report: dict[str, Any], wanted: dict[str, set[str]]) -> tuple[int, list[str]]:
    """Return the exit code, and a line for each known vulnerability or package not looked up."""
    reported = {_plain(each["name"]): each for each in report.get("dependencies", [])}
    vulnerable, missed = [], []
    for name, versions in wanted.items():
        package, label = reported.get(name, {}), f"{name} {' or '.join(sorted(versions))}"
        if package.get("version") not in versions or "vulns" not in package:
            missed.append(f"{label}: {package.get('skip_reason', 'was not looked up')}")
        vulnerable += [f"{label}: {each['id']}, corrected in "
                       f"{', '.join(each.get('fix_versions', [])) or 'nothing yet'}"
                       for each in package.get("vulns", [])]  # fmt: skip
    code = VULNERABLE if vulnerable else NOT_LOOKED_UP if missed or not wanted else 0
    return code, vulnerable + missed


def main(arguments: list[str]) -> int:
    """Audit the packages of the service and of the checks; return the exit code."""
    if arguments:
        print(__doc__)
        return 0 if arguments[0] in ("-h", "--help") else NOT_LOOKED_UP
    environment.run_inside("audit")
    codes = []
    for lock in ("runtime", "check", "clients"):
        file = environment.LOCKS / f"{lock}.txt"
        wanted = locked(file.read_text(encoding="utf-8"))
        code, lines = verdict(_report(file), wanted)
        print(f"{lock}: {len(wanted)} packages, {len(lines)} not known to be well")
        print("\n".join(f"  {line}" for line in lines))
        codes.append(code)
    return VULNERABLE if VULNERABLE in codes else max(codes)


def _report(lock: Path) -> dict[str, Any]:
    options = ["--require-hashes", "--disable-pip", "--progress-spinner", "off", "--format", "json"]
    command = [str(environment.python()), "-m", "pip_audit", *options, "--requirement", str(lock)]
    process = subprocess.run(command, capture_output=True, text=True, check=False)
    try:
        report: dict[str, Any] = json.loads(process.stdout)
    except ValueError:
        print(f"the auditor gave no report: {process.stderr.strip()[-300:]}", file=sys.stderr)
        return {}
    return report


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
