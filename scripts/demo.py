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
from typing import Any, NoReturn

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
    from client import find_season, open_client, require_ok

    from scripts import check_data, register_season, season_report, submit_trials

    _wait(url)
    key = _first_key(database)
    folder = database.parent / "season"
    living_season.write(SEED, folder, datetime.now(UTC).date())
    with open_client(url, key) as client:
        print("registering schools, teams, turbines and benches …")
        new = register_season.register(client, folder)
        print("  " + register_season.words_of_new(new))
        print("submitting each school's trials; what people mistype is refused or held …")
        files = sorted(folder.glob("trials_*.csv"))
        how = submit_trials.SubmitOptions(partial=True, refused_folder=database.parent)
        submit_trials.submit_files(client, files, how)
        season = find_season(client, None)
        answered = _answer_old_questions(client, season)
        print(f"{answered} older questions answered as a coach would; {QUESTIONS} are left for you")
        path = f"/v1/seasons/{season['id']}/report"
        report = require_ok(client.get(path))
        page = require_ok(client.get(path, params={"format": "html"}))
        questions = check_data.open_questions(client, season, with_warnings=False)
        school, coach_key = _coach(client)
    offered = f"lead\t\t{key}\ncoach\t{school}\t{coach_key}\n"
    (database.parent / KEYS).write_text(offered, encoding="utf-8")
    written = database.parent / "season_report.html"
    written.write_bytes(page.content)
    print("\n" + season_report.to_text(report.json()))
    print(check_data.to_text(questions, holds_shown=2))
    print(f"report as a page    {written}")
    print(f"refused rows        {database.parent}/*.refused.csv")
    if once:
        return 0
    print(f"a coach's key       {coach_key} ({school})")
    _print_addresses(url, key, season["id"])
    while True:
        time.sleep(3600)


def _answer_old_questions(client: Any, season: Any) -> int:
    """Answer the questions that hold trials, oldest first, except the newest few."""
    from client import require_ok

    answered = 0
    path = f"/v1/flags?season_id={season['id']}&state=open&severity=hold&limit=200"
    while True:
        flags = require_ok(client.get(path)).json()["items"]
        if len(flags) <= QUESTIONS:
            return answered
        days = {flag["id"]: _asked_on(client, flag) for flag in flags}
        oldest = min(flags, key=lambda flag: days[flag["id"]])
        answer = {"answer": "accept_fix"}
        if not oldest["proposed_fix"]:
            answer = {"answer": "confirm", "reason": "read once more with the team: it is right"}
            if oldest["trial_id"]:
                answer = {"answer": "withdraw_trial", "reason": "nobody noted which value is right"}
        path_of_answer = f"/v1/flags/{oldest['id']}/answer"
        require_ok(client.post(path_of_answer, json=answer))
        answered += 1


def _asked_on(client: Any, flag: Any) -> tuple[str, str]:
    """Return the start of the session of a question, and the name of its trial."""
    from client import require_ok

    trial = {"client_ref": "", "session_id": flag["session_id"]}
    if flag["trial_id"]:
        trial = require_ok(client.get(f"/v1/trials/{flag['trial_id']}")).json()
    session = require_ok(client.get(f"/v1/sessions/{trial['session_id']}")).json()
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


def _coach(client: Any) -> tuple[str, str]:
    """Make a key for a coach of one school; return the school's name and the key."""
    from client import list_all, require_ok

    school = list_all(client, "organisations")[0]
    asked = {"label": "Demo coach", "role": "coach", "organisation_ids": [school["id"]]}
    return school["name"], require_ok(client.post("/v1/keys", json=asked)).json()["key"]


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
