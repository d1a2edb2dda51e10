"""Equipment: lent and returned, overdue, compared, and the reference rotor's assigned power."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.support.makers import World, created, loan_payload, session_payload, trial_payload


def lend(client, equipment_id, school, **changed):
    return client.post(f"/v1/equipment/{equipment_id}/loans", json=loan_payload(school, **changed))


def take_back(client, loan, **fields):
    path = f"/v1/equipment/{loan['equipment_id']}/loans/{loan['id']}/return"
    return client.post(path, json={"returned_on": "2026-05-20"} | fields)


def item(world, **facts):
    asked = {"organisation_id": None, "kind": "other", "tag": "Kit A"} | facts
    return created(world.lead.post("/v1/equipment", json=asked))


class TestRefused:
    def test_what_is_out_is_not_lent_again(self, world: World):
        kit = item(world)
        created(lend(world.lead, kit["id"], world.larch))
        refused = lend(world.lead, kit["id"], world.birch)
        assert refused.status_code == 409
        assert "take it back first" in refused.json()["detail"]

    def test_due_before_it_goes_out(self, world: World):
        refused = lend(world.lead, item(world)["id"], world.larch, due_on="2026-02-09")
        assert refused.status_code == 422
        assert "before it goes out" in refused.text

    def test_a_coach_lends_nothing_of_the_programmes(self, world: World):
        assert lend(world.larch.coach, item(world)["id"], world.larch).status_code == 403

    def test_back_before_it_went_out_and_back_twice(self, world: World):
        loan = created(lend(world.lead, item(world)["id"], world.larch))
        assert take_back(world.lead, loan, returned_on="2026-02-01").status_code == 422
        assert take_back(world.lead, loan).status_code == 200
        assert take_back(world.lead, loan).status_code == 409

    def test_by_the_address_of_another_thing(self, world: World):
        loan = created(lend(world.lead, item(world)["id"], world.larch))
        other = item(world, tag="Kit B")
        assert take_back(world.lead, loan | {"equipment_id": other["id"]}).status_code == 404

    def test_readings_in_two_units(self, world: World):
        pairs = [{"reading": 9.4, "reference": 4.2}]
        refused = world.larch.coach.post(
            f"/v1/equipment/{world.larch.anemometer_id}/checks",
            json={"checked_on": "2026-03-01", "pairs": pairs},
        )
        assert refused.status_code == 422
        assert "one unit" in refused.json()["detail"]


class TestLoans:
    def test_where_it_is(self, world: World):
        kit = item(world, spares=3)
        assert (kit["is_lent"], kit["holder_id"], kit["due_on"]) == (False, None, None)
        loan = created(lend(world.lead, kit["id"], world.larch, spares_out=3))
        path = f"/v1/equipment/{kit['id']}"
        out = world.larch.coach.get(path).json()
        assert (out["is_lent"], out["holder_id"]) == (True, world.larch.organisation_id)
        assert out["due_on"] == "2026-06-01"
        back = take_back(world.lead, loan, condition_in="worn", spares_in=1).json()
        assert (back["condition_in"], back["spares_in"]) == ("worn", 1)
        home = world.lead.get(path).json()
        assert (home["is_lent"], home["condition"]) == (False, "worn")

    def test_a_school_sees_what_another_lent_it_for_as_long(self, world: World):
        kit = item(world, organisation_id=world.birch.organisation_id, tag="Birch meter")
        path, larch = f"/v1/equipment/{kit['id']}", world.larch.coach
        assert larch.get(path).status_code == 404
        loan = created(lend(world.lead, kit["id"], world.larch))
        assert larch.get(path).json()["holder_id"] == world.larch.organisation_id
        listed = larch.get("/v1/equipment-list").json()["items"]
        mine = next(each for each in listed if each["tag"] == "Birch meter")
        names = [
            world.lead.get(f"/v1/organisations/{each.organisation_id}").json()["name"]
            for each in (world.birch, world.larch)
        ]
        assert [mine["owner"], mine["where"]] == names
        changed = larch.patch(path, json={"note": "ours"}, headers={"If-Match": '"v1"'})
        assert changed.status_code == 404
        assert take_back(world.lead, loan).status_code == 200
        assert larch.get(path).status_code == 404

    def test_another_school_learns_that_it_is_out_and_not_to_whom(self, world: World):
        kit = item(world)
        created(lend(world.lead, kit["id"], world.larch))
        seen = world.birch.coach.get(f"/v1/equipment/{kit['id']}").json()
        assert (seen["is_lent"], seen["holder_id"]) == (True, None)
        assert world.birch.coach.get(f"/v1/equipment/{kit['id']}/loans").json()["items"] == []

    @pytest.mark.parametrize(("due_in_days", "late"), [(-3, 3), (3, 0)])
    def test_what_is_overdue(self, due_in_days, late, world: World):
        kit, began = item(world), datetime.now(UTC).date()
        due_on = (began + timedelta(days=due_in_days)).isoformat()
        created(lend(world.lead, kit["id"], world.larch, due_on=due_on))
        overdue = world.larch.coach.get("/v1/loans?state=overdue").json()["items"]
        shown = world.lead.get(f"/v1/equipment/{kit['id']}").json()["days_overdue"]
        passed = (datetime.now(UTC).date() - began).days  # a test may begin before midnight
        days = [each["days_overdue"] for each in overdue if each["equipment_id"] == kit["id"]]
        assert bool(days) == bool(late)
        assert all(late <= each <= late + passed for each in days)
        assert (late <= shown <= late + passed) if late else shown == 0

    def test_lists_by_state_add_up(self, world: World):
        loan = created(lend(world.lead, item(world)["id"], world.larch))
        take_back(world.lead, loan)
        counts = {
            state: len(world.lead.get("/v1/loans", params=asked).json()["items"])
            for state, asked in (("all", {}), ("open", {"state": "open"}),
                                 ("returned", {"state": "returned"}))
        }  # fmt: skip
        assert counts["all"] == counts["open"] + counts["returned"] == 3
        assert counts["returned"] == 1


class TestChecks:
    def test_a_ratio_with_its_doubt(self, world: World):
        """ln 1.05 and ln 1.03: mean 0.03917, so 1.0400; sd 0.01360/√2 = 0.0096."""
        pairs = [{"reading": 4.2, "reference": 4.0}, {"reading": 4.12, "reference": 4.0}]
        check = created(
            world.larch.coach.post(
                f"/v1/equipment/{world.larch.meter_id}/checks",
                json={"checked_on": "2026-03-01", "pairs": pairs},
            )
        )
        assert check["ratio"] == pytest.approx(1.0400, abs=5e-5)
        assert check["u_ratio"] == pytest.approx(0.0096, abs=5e-5)
        assert check["verdict"] == "fine"

    def test_beyond_five_per_cent_it_says_what_to_do(self, world: World):
        check = created(
            world.larch.coach.post(
                f"/v1/equipment/{world.larch.meter_id}/checks",
                json={"checked_on": "2026-03-01", "pairs": [{"reading": 4.4, "reference": 4.0}]},
            )
        )
        assert (check["verdict"], check["u_ratio"]) == ("look", None)
        assert "10.0 % more" in check["sentence"]

    def test_a_wind_meter_is_dated_by_it_and_its_flag_cleared(self, world: World):
        vane = f"/v1/equipment/{world.larch.anemometer_id}"
        tag = world.larch.coach.get(vane).headers["ETag"]
        old = {"spec": {"type": "vane", "checked_on": "2024-03-01"}}
        assert world.larch.coach.patch(vane, json=old, headers={"If-Match": tag}).is_success

        def stale():
            asked = {"rule": "stale_instrument"}
            return world.larch.coach.get("/v1/flags", params=asked).json()["items"]

        assert len(stale()) == 1
        pairs = [{"reading": 4.1, "reference": 4.0}]
        for day in ("2026-03-01", "2025-12-01"):  # an older comparison entered later dates nothing
            created(world.larch.coach.post(f"{vane}/checks",
                    json={"checked_on": day, "pairs": pairs}))  # fmt: skip
        assert world.larch.coach.get(vane).json()["spec"]["checked_on"] == "2026-03-01"
        assert stale() == []
        assert len(world.larch.coach.get(f"{vane}/checks").json()["items"]) == 2

    def test_one_that_reads_off_is_not_dated_by_it(self, world: World):
        vane = f"/v1/equipment/{world.larch.anemometer_id}"
        pairs = [{"reading": 5.2, "reference": 4.0}]
        asked = {"checked_on": "2026-03-01", "pairs": pairs}
        assert created(world.larch.coach.post(f"{vane}/checks", json=asked))["verdict"] == "look"
        assert "checked_on" not in world.larch.coach.get(vane).json()["spec"]

    def test_no_day_lies_in_the_future(self, world: World):
        asked = {"checked_on": "2098-03-01", "pairs": [{"reading": 4.0, "reference": 4.0}]}
        path = f"/v1/equipment/{world.larch.anemometer_id}/checks"
        assert "in the future" in world.larch.coach.post(path, json=asked).text
        loan = created(lend(world.lead, item(world)["id"], world.larch))
        assert take_back(world.lead, loan, returned_on="2098-01-01").status_code == 422


class TestReferenceRotor:
    def runs(self, world, day, volts=(1.3, 1.31, 1.3), build_id=None):
        started = f"2026-03-{day:02d}T10:00:00Z"
        asked = session_payload(world.larch, started_at=started)
        session = created(world.larch.coach.post("/v1/sessions", json=asked))
        trial = trial_payload(
            world.larch, session_id=session["id"], kind="reference",
            build_id=build_id or world.reference_build_id,
            runs=[{"voltage_v": each} for each in volts],
        )  # fmt: skip
        return world.lead.post("/v1/trials", json=trial)

    def unassigned(self, world, **turbine):
        rotor = created(
            world.lead.post("/v1/turbines", json={"team_id": None, "name": "Two"} | turbine)
        )
        facts = {"turbine_id": rotor["id"], "rotor_diameter_m": 0.45, "blade_count": 3}
        return created(world.lead.post("/v1/builds", json=facts))["id"]

    def assign(self, world, build_id):
        path = f"/v1/builds/{build_id}/assigned-power"
        return world.lead.post(path, json={"bench_id": world.larch.bench_id})

    def test_it_takes_ten_runs_on_three_days(self, world: World):
        build = self.unassigned(world)
        for day in (6, 9):
            created(self.runs(world, day, build_id=build))
        refused = self.assign(world, build)
        assert refused.status_code == 409
        assert "6 runs on 2 days" in refused.json()["detail"]

    def test_it_is_the_mean_over_days_and_frozen(self, world: World):
        """1.30, 1.31 and 1.30 V at 30.1 Ω on four days alike: just that, without uncertainty."""
        build = self.unassigned(world)
        trials = [created(self.runs(world, day, build_id=build)) for day in (6, 9, 13, 16)]
        assigned = self.assign(world, build)
        assert assigned.status_code == 200, assigned.text
        normalised = trials[0]["result"]["normalised_power_w"]
        assert assigned.json()["assigned_power_w"] == pytest.approx(normalised)
        assert (assigned.json()["runs"], assigned.json()["days"]) == (12, 4)
        assert assigned.json()["u"] == pytest.approx(0, abs=1e-9)
        path = f"/v1/builds/{build}"
        assert world.lead.get(path).json()["assigned_power_w"] == pytest.approx(normalised)
        assert self.assign(world, build).status_code == 409
        tag = {"If-Match": world.lead.get(path).headers["ETag"]}
        again = world.lead.patch(path, json={"assigned_power_w": 0.07}, headers=tag)
        assert again.status_code == 409

    def test_powers_of_two_seasons_are_not_averaged(self, world: World):
        build = self.unassigned(world)
        for day in (6, 9, 13, 16):
            created(self.runs(world, day, build_id=build))
        facts = {"name": "Autumn", "starts_on": "2026-09-01", "ends_on": "2026-12-01",
                 "reference_wind_speed_m_s": 5.0}  # fmt: skip
        autumn = created(world.lead.post("/v1/seasons", json=facts))["id"]
        asked = session_payload(world.larch, season_id=autumn, started_at="2026-10-06T10:00:00Z")
        session = created(world.larch.coach.post("/v1/sessions", json=asked))["id"]
        trial = trial_payload(world.larch, session_id=session, kind="reference", build_id=build)
        created(world.lead.post("/v1/trials", json=trial))
        refused = self.assign(world, build)
        assert (refused.status_code, "2 seasons" in refused.text) == (409, True)
        body = {"bench_id": world.larch.bench_id, "season_id": world.season_id}
        done = world.lead.post(f"/v1/builds/{build}/assigned-power", json=body)
        assert (done.status_code, done.json()["days"]) == (200, 4)

    def test_retired_it_stays_retired_on_that_day(self, world: World):
        box = item(world, kind="reference_rotor", tag="RR-1")
        loan = created(lend(world.lead, box["id"], world.larch))
        take_back(world.lead, loan, returned_on="2026-03-10", condition_in="broken")
        path = f"/v1/equipment/{box['id']}"
        tag = {"If-Match": world.lead.get(path).headers["ETag"]}
        done = world.lead.patch(path, json={"note": "two blades gone"}, headers=tag)
        assert done.json()["retired_on"] == "2026-03-10"

    def test_a_teams_build_is_assigned_nothing(self, world: World):
        assert self.assign(world, world.larch.build_id).status_code == 409

    def test_broken_it_is_retired_and_runs_no_more(self, world: World):
        box = item(world, kind="reference_rotor", tag="RR-1")
        build = self.unassigned(world, rotor_id=box["id"])
        loan = created(lend(world.lead, box["id"], world.larch))
        created(self.runs(world, 6, build_id=build))
        back = take_back(world.lead, loan, returned_on="2026-03-10", condition_in="broken")
        assert back.status_code == 200
        assert world.lead.get(f"/v1/equipment/{box['id']}").json()["retired_on"] == "2026-03-10"
        refused = self.runs(world, 13, build_id=build)
        assert refused.status_code == 422
        assert "another rotor" in refused.json()["detail"]
        created(self.runs(world, 9, build_id=build))  # what was run before is still shown
        assert lend(world.lead, box["id"], world.birch).status_code == 409

    def test_only_a_reference_rotor_stands_in_the_list_as_one(self, world: World):
        box = item(world, kind="other")
        asked = {"team_id": None, "name": "Three", "rotor_id": box["id"]}
        assert world.lead.post("/v1/turbines", json=asked).status_code == 422
        rotor = item(world, kind="reference_rotor", tag="RR-1")
        team = {"team_id": world.larch.team_id, "name": "Three", "rotor_id": rotor["id"]}
        assert world.lead.post("/v1/turbines", json=team).status_code == 422
