"""How well a season measures, over the API: charts, drift, repeatability, influence, access."""

import math
from datetime import datetime, timedelta

import pytest

from api.services.season import quality as quality_service
from tests.support.makers import World, created, session_payload, trial_payload

FIRST = datetime.fromisoformat("2026-03-05T14:30:00+00:00")


def quality(client, world):
    answer = client.get(f"/v1/seasons/{world.season_id}/quality")
    assert answer.status_code == 200, answer.text
    return answer.json()


def session_of(school, week):
    """Return the school's session in a week after its first one."""
    started = (FIRST + timedelta(weeks=week)).isoformat()
    asked = session_payload(school, started_at=started)
    return created(school.coach.post("/v1/sessions", json=asked))["id"]


def run(school, session_id, volts, **changed):
    asked = trial_payload(school, session_id=session_id, runs=[{"voltage_v": volts}] * 3, **changed)
    return created(school.coach.post("/v1/trials", json=asked))


def reference(world, school, volts):
    """Run the reference rotor once a week at a school's bench."""
    for week, each in enumerate(volts, start=1):
        run(school, session_of(school, week), each, kind="reference",
            build_id=world.reference_build_id)  # fmt: skip


class TestWithoutNumbers:
    def test_a_season_without_trials_says_so(self, lead):
        facts = {"name": "Empty", "starts_on": "2026-02-02", "ends_on": "2026-05-29"}
        season = created(lead.post("/v1/seasons", json=facts))
        body = lead.get(f"/v1/seasons/{season['id']}/quality").json()
        assert (body["charts"], body["drift"], body["precision"]) == ([], None, [])
        assert body["reason"] == "no trial that counts has been stored yet"

    def test_what_is_not_known_yet_says_what_would_tell(self, world: World):
        body = quality(world.lead, world)
        assert body["charts"] == []
        assert body["drift"] is None
        assert [each["limit_pct"] for each in body["precision"]] == [None] * 3
        assert "repeat trials in the same session" in body["precision"][0]["sentence"]


class TestTheRotor:
    def test_each_session_is_a_point_about_the_mean_of_its_bench(self, world: World):
        """Power goes with the square of volts: 1.20 and 1.26 V differ by 2 ln 1.05 = 0.0976."""
        reference(world, world.larch, [1.20, 1.26])
        (chart,) = quality(world.lead, world)["charts"]
        assert (chart["bench"], chart["rotor"]) == ("Larch hall", "Reference rotor 1")
        low, high = (point["off_pct"] for point in chart["points"])
        assert low == pytest.approx(100 * math.expm1(-0.0488), abs=0.01)
        assert high == pytest.approx(100 * math.expm1(0.0488), abs=0.01)
        assert "steady over 2 sessions" in chart["sentence"]

    def test_a_session_far_off_is_named_with_its_day(self, world: World):
        """The data check asks about it at first; it is kept, and the chart shows it."""
        reference(world, world.larch, [1.20, 1.21, 1.19, 1.20, 1.36, 1.20])
        coach = world.larch.coach
        (flag,) = coach.get("/v1/flags?state=open&severity=hold").json()["items"]
        asked = {"answer": "confirm", "reason": "measured again"}
        assert coach.post(f"/v1/flags/{flag['id']}/answer", json=asked).status_code == 200
        (chart,) = quality(world.lead, world)["charts"]
        assert [point["verdict"] for point in chart["points"]].count("act") == 1
        assert "on 9 April 2026 the rotor was" in chart["sentence"]

    def test_a_rotor_that_fades_at_two_benches_drifts_and_powers_are_corrected(self, world: World):
        """Volts fall by 3 % a week, power by 6 %."""
        for school in (world.larch, world.birch):
            reference(world, school, [1.30 * 0.97**week for week in range(6)])
        body = quality(world.lead, world)
        drift = body["drift"]
        assert drift["is_certain"]
        assert drift["pct_per_week"] == pytest.approx(100 * (0.97**2 - 1), abs=0.3)
        assert "becomes weaker" in drift["sentence"]
        report = world.lead.get(f"/v1/seasons/{world.season_id}/report").json()
        assert report["drift"]["sentence"] == drift["sentence"]
        # The charts show what was measured, not what was corrected.
        for chart in body["charts"]:
            off = [point["off_pct"] for point in chart["points"]]
            assert off == sorted(off, reverse=True)
            assert off[0] - off[-1] > 20

    def test_a_steady_rotor_is_no_matter_for_the_report(self, world: World):
        for school in (world.larch, world.birch):
            reference(world, school, [1.20, 1.21, 1.19, 1.20, 1.21, 1.19])
        assert not quality(world.lead, world)["drift"]["is_certain"]
        report = world.lead.get(f"/v1/seasons/{world.season_id}/report").json()
        assert report["drift"] is None


def test_repeated_trials_show_how_much_two_differ(world: World):
    """2.8 standard deviations of the repeated trials, as percent of the smaller one."""
    volts = [1.201, 1.21, 1.19, 1.207, 1.195, 1.215, 1.188]
    for each in volts:
        run(world.birch, world.birch.session_id, each)
    repeated = [2 * math.log(each) for each in [1.2, *volts]]  # the world's own trial has 1.2 V
    mean = sum(repeated) / len(repeated)
    sd = math.sqrt(sum((each - mean) ** 2 for each in repeated) / (len(repeated) - 1))
    level = quality(world.lead, world)["precision"][0]
    assert (level["level"], level["degrees_of_freedom"]) == ("repeatability", 7)
    assert level["sd_pct"] == pytest.approx(100 * sd, rel=1e-6)
    assert level["limit_pct"] == pytest.approx(100 * math.expm1(2.8 * sd), rel=1e-6)


class TestTheOrder:
    def join(self, world):
        for school in (world.larch, world.birch):
            reference(world, school, [1.20, 1.21, 1.19])
        for week in (4, 5):
            run(world.larch, session_of(world.larch, week), 1.24)
            run(world.birch, session_of(world.birch, week), 1.20)

    def test_an_assumption_is_shown_with_what_it_would_change(self, world: World):
        self.join(world)
        interaction = quality(world.lead, world)["interaction"]
        assert (interaction["sd_pct"], interaction["is_estimated"]) == (pytest.approx(5), False)
        (pair,) = interaction["pairs"]
        assert 0.5 < pair["probability_then"] < pair["probability"]
        report = world.lead.get(f"/v1/seasons/{world.season_id}/report").json()
        assert "a build differs by 5 % from bench to bench" in report["comparison"]["assumption"]

    def test_a_bench_that_joins_nothing_else_has_no_influence(self, world: World):
        self.join(world)
        assert quality(world.lead, world)["influence"] == []  # each team has its own bench only

    def test_a_third_bench_is_left_out_in_turn(self, world: World):
        self.join(world)
        facts = {
            "organisation_id": world.larch.organisation_id, "name": "Gym", "fan_setting": "1",
            "fan_id": world.larch.fan_id, "distance_m": 0.9,
            "anemometer_id": world.larch.anemometer_id,
        }  # fmt: skip
        gym = created(world.larch.coach.post("/v1/benches", json=facts))["id"]
        asked = session_payload(world.larch, bench_id=gym, started_at="2026-04-20T14:30:00Z")
        session_id = created(world.larch.coach.post("/v1/sessions", json=asked))["id"]
        run(world.larch, session_id, 1.2, kind="reference", build_id=world.reference_build_id)
        (influence,) = quality(world.lead, world)["influence"]
        assert (influence["bench"], influence["builds"]) == ("Gym", 2)
        assert "the order of the others stays the same" in influence["sentence"]

    def test_a_large_season_says_that_it_is_not_calculated(self, world: World, monkeypatch):
        monkeypatch.setattr(quality_service, "can_leave_out", lambda *asked: False)
        body = quality(world.lead, world)
        assert (body["influence"], body["interaction"]) == ([], None)
        assert "up to 40 benches" in body["influence_left_out"]


class TestVisibility:
    def test_a_coach_sees_the_own_benches_only(self, world: World):
        for school in (world.larch, world.birch):
            reference(world, school, [1.20, 1.21, 1.19])
        answer = world.larch.coach.get(f"/v1/seasons/{world.season_id}/quality")
        assert [chart["bench"] for chart in answer.json()["charts"]] == ["Larch hall"]
        for hidden in ("Birch", world.birch.bench_id, world.birch.build_id):
            assert hidden not in answer.text


class TestFormats:
    @pytest.mark.parametrize("ending", ["csv", "html", "pdf"])
    def test_each_format(self, world: World, ending):
        reference(world, world.larch, [1.20, 1.26])
        answer = world.lead.get(f"/v1/seasons/{world.season_id}/quality?format={ending}")
        assert answer.status_code == 200
        head = {"csv": b"bench,rotor,started_at", "html": b"<!doctype html>", "pdf": b"%PDF-"}
        assert answer.content.startswith(head[ending])

    def test_the_spreadsheet_has_a_line_for_each_session(self, world: World):
        reference(world, world.larch, [1.20, 1.26])
        text = world.lead.get(f"/v1/seasons/{world.season_id}/quality?format=csv").text
        assert len(text.strip().split("\r\n")) == 3
