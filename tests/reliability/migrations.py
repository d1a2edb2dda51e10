"""Every revision down and up on a full database: the same digest before and after.

`python -m tests.reliability.migrations` fills a database of each kind through the public API,
twenty rows and more to a table, takes it down one revision after the other, each also up and down
again, and prints the rows and the digest of what the older schema has a place for.
"""

import argparse
import hashlib

from alembic.script import ScriptDirectory

from api.migrate import LOCATION, downgrade, upgrade
from tests.reliability.places import KINDS, fresh, print_table
from tests.support.makers import created, make_school, rule_set, season_payload, trial_payload
from tests.support.service import Service
from tests.support.stored import stored_rows

REVISIONS = [script.revision for script in ScriptDirectory(str(LOCATION)).walk_revisions()][::-1]
#: Caches of what follows from facts: a step to a newer schema finds them again.
FOUND_AGAIN = ("flag", "wind_sweep", "trial_result", "published_trials", "rebuild_due",
               "season_change")  # fmt: skip


def contents(database_url):
    """Return every row of every table of facts."""
    apart = ("alembic_version", *FOUND_AGAIN)
    return {name: rows for name, rows in stored_rows(database_url).items() if name not in apart}


def narrowed(more, less):
    """Return of one database what another has tables and columns for, row by row as text."""
    tables = {}
    for name, rows in less.items():
        columns = sorted(rows[0]) if rows else ()
        tables[name] = sorted(str([row[column] for column in columns]) for row in more[name])
    return tables


def digest(tables):
    """Return a digest of a database, to compare it with another."""
    return hashlib.sha256(str(sorted(tables.items())).encode()).hexdigest()[:12]


def fill(service, schools):
    """Fill a programme through the public API."""
    clients = {}

    def signed(key):
        return clients.setdefault(key, service.client(key))

    lead = signed(service.lead_key())
    seasons = [created(lead.post("/v1/seasons", json=season_payload(name=f"Season {number}")))["id"]
               for number in range(schools)]  # fmt: skip
    for number in range(schools):
        created(lead.post("/v1/seasons", json=season_payload(
            name=f"Old {number}", starts_on="2020-02-01", ends_on="2020-06-01")))  # fmt: skip
    assert service.run("-m", "api", "purge", "--yes").returncode == 0
    for number in range(schools):
        school = make_school(lead, signed, seasons[0], f"School {number}")
        _busy(lead, school, seasons[0], number)
    for client in clients.values():
        client.close()


def _busy(lead, school, season_id, number):
    """Let one school use every kind of thing."""
    coach = school.coach or lead
    points = [{"x_radii": x, "y_radii": y, "wind_speed_m_s": 4.1}
              for x, y in ((0, 0), (0.75, 0), (-0.75, 0), (0, 0.75), (0, -0.75))]  # fmt: skip
    created(coach.post(f"/v1/benches/{school.bench_id}/wind-grids", json={"points": points}))
    created(coach.post(f"/v1/equipment/{school.meter_id}/checks", json={
        "checked_on": "2026-03-01", "pairs": [{"reading": 4.1, "reference": 4.0}],
        "against_id": school.kit_id}))  # fmt: skip
    for speed in (3.4, 4.2, 5.0):
        swept = trial_payload(school, kind="wind", wind_speed_m_s=speed, client_ref=f"w{speed}",
                              runs=[{"voltage_v": speed / 3.5}])  # fmt: skip
        once = {"Idempotency-Key": f"{number}-{speed}"}
        created(coach.post("/v1/trials", json=swept, headers=once))
    event = created(lead.post("/v1/events", json={
        "season_id": season_id, "name": f"Meeting {number}", "held_on": "2026-03-05",
        "rule_set": rule_set()}))["id"]  # fmt: skip
    created(lead.post(f"/v1/events/{event}/run-order", json={"seed": number}))
    created(coach.post(f"/v1/events/{event}/inspections", json={
        "build_id": school.build_id, "build_version": 1, "inspector": "steward",
        "findings": [{"check": "hazards", "outcome": "pass"}]}))  # fmt: skip
    runs = [{"position": 1, "build_id": school.build_id, "outcome": "did_not_finish"}]
    payload = {"session_id": school.session_id, "runs": runs}
    results = lead.post(f"/v1/events/{event}/results", json=payload)
    assert results.status_code == 200, results.text
    _visit(coach, school)


def _visit(coach, school):
    """Let a browser sign in and make a link."""
    same = {"Sec-Fetch-Site": "same-origin", "Accept": "text/html"}
    signed = coach.post("/sign-in", data={"key": school.coach_key}, headers=same)
    cookie = {"Cookie": signed.headers["set-cookie"].split(";")[0]}
    asked = {"team_id": school.team_id, "days": "30"}
    assert coach.post("/shares", data=asked, headers=same | cookie).status_code == 200


def steps(database_url):
    """Take a database down, and each step also up and down again; return what was seen."""
    rows = []
    for at in range(len(REVISIONS) - 1, 0, -1):
        full = contents(database_url)
        downgrade(database_url, REVISIONS[at - 1])
        older = contents(database_url)
        upgrade(database_url, REVISIONS[at])
        newer = contents(database_url)
        rows.append({"revision": REVISIONS[at], "tables": len(full),
                     "rows": sum(map(len, full.values())),
                     "before": digest(narrowed(full, older)),
                     "down": digest(narrowed(older, older)),
                     "up": digest(narrowed(newer, older))})  # fmt: skip
        downgrade(database_url, REVISIONS[at - 1])
    return rows[::-1]


def run(database_url, folder, schools):
    """Return the results for one kind of database, and the smallest number of rows of a table."""
    service = Service(folder, database_url)
    try:
        fill(service, schools)
    finally:
        service.kill()
    fewest = {name: len(rows) for name, rows in contents(database_url).items()}
    return steps(database_url), fewest


def differs(row):
    """Tell whether a step changed data that it should not change."""
    return len({row["before"], row["down"], row["up"]}) > 1


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--schools", type=int, default=20)
    asked, rows = parser.parse_args(), []
    for kind in KINDS:
        with fresh(kind) as (folder, url):
            seen, counts = run(url, folder, asked.schools)
            rows += [{"database": kind} | row for row in seen]
        few = {name: count for name, count in counts.items() if count < asked.schools}
        print(f"{kind}: tables with fewer than {asked.schools} rows: {few or 'none'}")
    print_table("Every revision down and up", rows)
    raise SystemExit(any(map(differs, rows)))


if __name__ == "__main__":
    main()
