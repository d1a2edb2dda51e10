"""Set up an event in tests: its rules, inspections and readiness."""

from tests.support.makers import (
    rule_set,
)

PULL = {"id": "pull_test", "words": "Blades hold", "kind": "inspection", "op": ">=",
        "value_from": "safety.pull_test_n", "unit": "N"}  # fmt: skip


def event(world):
    return f"/v1/events/{world.larch.event_id}"


def patch(client, path, **changes):
    tag = client.get(path).headers["ETag"]
    return client.patch(path, json=changes, headers={"If-Match": tag})


def use_rules(world, *checks):
    done = patch(world.lead, event(world), rule_set=rule_set(*checks))
    assert done.status_code == 200, done.text


def inspect(school, world, findings, client=None, **changed):
    build = school.coach.get(f"/v1/builds/{school.build_id}").json()
    asked = {"build_id": school.build_id, "build_version": build["version"],
             "inspector": "steward", "findings": findings} | changed  # fmt: skip
    return (client or school.coach).post(f"{event(world)}/inspections", json=asked)


def readiness(client, world):
    return client.get(f"{event(world)}/readiness").json()


def larch_of(status):
    (team,) = [team for team in status["teams"] if team["team_name"] == "Larch one"]
    return team, {check["id"]: check for check in team["checks"]}
