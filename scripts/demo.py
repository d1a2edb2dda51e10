"""Show Gustbook with an invented season: set up, load, report, and stay up to be tried.

Usage: python3 scripts/demo.py [--port N] [--once]

Needs only Python 3.11 and, the first time, the network for packages. Makes .venv from the lock, a
fresh database under var/, starts the service on 127.0.0.1, loads demo_seed/ through the public
API as a season that is under way today, answers old questions as a coach would, prints the
season's table, writes the report as a page beside the database, and stays up until Ctrl-C. With
--once it stops the service and ends after the report. On SIGTERM it stops the service too.
"""

import argparse
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from client import Gustbook

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripts import environment, living_season

SEED = environment.ROOT / "demo_seed"
VAR = environment.ROOT / "var"
START_SECONDS, STOP_SECONDS = 30, 15
KEYS = "keys.txt"
#: Number of open questions to leave for the user; older ones are answered as a coach would.
QUESTIONS = 8
STOPPED = 128 + signal.SIGTERM


def main(arguments: list[str]) -> int:
    """Run the demo; return the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")
    parser.add_argument("--once", action="store_true", help="stop after the report")
    options = parser.parse_args(arguments)
    _require_free(options.port)
    environment.run_inside("runtime")
    signal.signal(signal.SIGTERM, _stop)
    try:
        with _service(options.port) as (url, database):
            return _show(url, database, options.once)
    except KeyboardInterrupt:
        print("\nstopped")
        return 0


def _stop(number: int, frame: object) -> NoReturn:
    """End the demo on SIGTERM, so that the service it started ends with it."""
    raise SystemExit(STOPPED)


def _require_free(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except (OSError, OverflowError):
            environment.stop(f"port {port} is in use or cannot be used; try --port {port + 1}")


@contextmanager
def _service(port: int) -> Iterator[tuple[str, Path]]:
    """Run the service with a new database of its own."""
    folder = VAR / f"demo-{port}"  # the port is free, so no other demo uses this folder
    try:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True, exist_ok=True)
        log = (folder / "service.log").open("w", encoding="utf-8")
    except OSError as error:
        environment.stop(
            f"{folder} cannot be written ({error.strerror}). The demo keeps its database there: "
            "allow yourself to write it, or copy the project to a folder of your own."
        )
    database = folder / "demo.db"
    address = {"GUSTBOOK_DATABASE_URL": f"sqlite:///{database}"}
    shown = {"GUSTBOOK_STYLEGUIDE": "1", "GUSTBOOK_DEMO_KEYS": str(folder / KEYS)}
    settings = os.environ | address | shown
    command = [sys.executable, "-m", "api", "serve", "--port", str(port)]
    process = subprocess.Popen(
        command, cwd=environment.ROOT, env=settings, stdout=log, stderr=subprocess.STDOUT
    )
    try:
        yield f"http://127.0.0.1:{port}", database
    finally:
        process.terminate()
        try:
            process.wait(timeout=STOP_SECONDS)
        except subprocess.TimeoutExpired:
            process.kill()
        log.close()


def _show(url: str, database: Path, once: bool) -> int:
    """Load the season, show its report, and keep the service running unless `once`."""
    # Imported only here, because these modules need the packages in .venv.
    from client import Gustbook

    from scripts import check_data, season_report

    _wait(url)
    key = _first_key(database)
    with Gustbook(url, key) as gustbook:
        season = load(gustbook, database.parent)
        report = gustbook.report("season", season["id"])
        page = gustbook.report_file("season", season["id"], "html")
        questions = check_data.open_questions(gustbook, season, with_warnings=False)
        school, coach_key = _coach(gustbook)
    offered = f"lead\t\t{key}\ncoach\t{school}\t{coach_key}\n"
    (database.parent / KEYS).write_text(offered, encoding="utf-8")
    written = database.parent / "season_report.html"
    written.write_bytes(page)
    print("\n" + season_report.to_text(report))
    print(check_data.to_text(questions, holds_shown=2))
    print(f"report as a page    {written}")
    print(f"refused rows        {database.parent}/*.refused.csv")
    if once:
        return 0
    print(f"a coach's key       {coach_key} ({school})")
    _print_addresses(url, key, season["id"])
    while True:
        time.sleep(3600)


def load(gustbook: "Gustbook", folder: Path) -> dict[str, Any]:
    """Load the season as it would be today, and answer old questions; return the season.

    Its tables and the refused rows are written into the folder.
    """
    from client.command_line import find_season

    from scripts import register_season, submit_trials

    tables = folder / "season"
    living_season.write(SEED, tables, datetime.now(UTC).date())
    print("registering schools, teams, turbines and benches …")
    new = register_season.register(gustbook, tables)
    print("  " + register_season.words_of_new(new))
    print("submitting each school's trials; what people mistype is refused or held …")
    files = sorted(tables.glob("trials_*.csv"))
    how = submit_trials.SubmitOptions(partial=True, refused_folder=folder)
    submit_trials.submit_files(gustbook, files, how)
    season = find_season(gustbook, None)
    answered = _answer_old_questions(gustbook, season["id"])
    print(f"{answered} older questions answered as a coach would; {QUESTIONS} are left for you")
    return season


def _answer_old_questions(gustbook: "Gustbook", season_id: str) -> int:
    """Answer the questions that hold trials, oldest first, except the newest few."""
    answered = 0
    days: dict[str, tuple[str, str]] = {}
    while True:
        flags = [*gustbook.flags(season_id=season_id, state="open", severity="hold")]
        if len(flags) <= QUESTIONS:
            return answered
        unknown = [flag for flag in flags if flag["id"] not in days]
        days |= {flag["id"]: _asked_on(gustbook, flag) for flag in unknown}
        oldest = min(flags, key=lambda flag: days[flag["id"]])
        if oldest["proposed_fix"]:
            gustbook.answer(oldest, "accept_fix")
        elif oldest["trial_id"]:
            gustbook.answer(oldest, "withdraw_trial", "nobody noted which value is right")
        else:
            gustbook.answer(oldest, "confirm", "read once more with the team: it is right")
        answered += 1


def _asked_on(gustbook: "Gustbook", flag: dict[str, Any]) -> tuple[str, str]:
    """Return the start of the session of a question, and the name of its trial."""
    trial = {"client_ref": "", "session_id": flag["session_id"]}
    if flag["trial_id"]:
        trial = gustbook.get(f"/v1/trials/{flag['trial_id']}")
    session = gustbook.get(f"/v1/sessions/{trial['session_id']}")
    return session["started_at"], f"{trial['client_ref']} {flag['rule']}"


def _wait(url: str) -> None:
    """Wait until the service answers."""
    import httpx

    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        try:
            if httpx.get(f"{url}/readyz", timeout=2).status_code == 200:
                return
        except httpx.TransportError:
            time.sleep(0.1)
    environment.stop(
        f"the service did not start within {START_SECONDS} s; see {VAR}/demo-*/service.log"
    )


def _first_key(database: Path) -> str:
    """Create a lead's key with the command of operators, and return it."""
    done = subprocess.run(
        [sys.executable, "-m", "api", "key", "create", "--role", "lead", "--label", "Demo lead"],
        cwd=environment.ROOT,
        env=os.environ | {"GUSTBOOK_DATABASE_URL": f"sqlite:///{database}"},
        check=True,
        capture_output=True,
        text=True,
    )
    return done.stdout.strip()


def _coach(gustbook: "Gustbook") -> tuple[str, str]:
    """Make a key for a coach of one school; return the school's name and the key."""
    school = next(gustbook.organisations())
    asked = {"label": "Demo coach", "role": "coach", "organisation_ids": [school["id"]]}
    return school["name"], gustbook.post("/v1/keys", asked)["key"]


def _print_addresses(url: str, key: str, season_id: str) -> None:
    print(f"the service         {url}/v1/meta, {url}/openapi.json")
    print(f"in a browser        {url}/ (choose to look around as a lead, or as a coach)")
    print(f"a lead's key        {key}")
    print(f"to try              export GUSTBOOK_KEY={key} GUSTBOOK_URL={url}")
    print("                    .venv/bin/python scripts/season_report.py --team Larch")
    print('                    curl -H "Authorization: Bearer $GUSTBOOK_KEY" \\')
    print(f"                      {url}/v1/seasons/{season_id}/report")
    print("Ctrl-C stops it.")


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
