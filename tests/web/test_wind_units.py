"""Forms ask for wind in the unit of a school, and everything is stored in metres a second."""

import re

import pytest

from tests.support.makers import World, created

#: Exact by definition: the international mile has 1609.344 m, the nautical mile 1852 m.
EXACT = {"mph": 1609.344 / 3600, "km_h": 1 / 3.6, "kn": 1852 / 3600}
POINTS = ("point_0", "point_1", "point_2", "point_3", "point_4")


def choose(world, school, unit):
    path = f"/v1/organisations/{school.organisation_id}"
    answer = world.lead.patch(path, json={"wind_unit": unit}, headers={"If-Match": "*"})
    assert answer.status_code == 200, answer.text


def fields_of(page):
    return dict(
        re.findall(
            r'<input id="f-\w+" name="(\w*wind_speed\w*|point_\w+)"[^>]* value="([^"]*)"', page
        )
    )


@pytest.fixture
def coach(world, visiting):
    return visiting(world.larch.coach_key)


@pytest.fixture
def in_mph(world):
    choose(world, world.larch, "mph")


class TestRefused:
    def test_a_unit_that_wind_meters_do_not_show(self, world: World):
        path = f"/v1/organisations/{world.larch.organisation_id}"
        headers = {"If-Match": "*"}
        answer = world.lead.patch(path, json={"wind_unit": "bft"}, headers=headers)
        assert answer.status_code == 422

    @pytest.mark.usefixtures("in_mph")
    def test_a_wind_beyond_its_limits_is_refused_in_that_unit(self, world: World, coach):
        """Winds end at 20 m/s, which is 44.7 mph: 30 mph is possible, 60 mph is not."""
        typed = session_of(world) | {"wind_speed_start_mph": "60"}
        answer = coach.post("/sessions/new", data=typed)
        assert answer.status_code == 422
        assert 'value="60"' in answer.text
        assert coach.post("/sessions/new", data=typed | {"wind_speed_start_mph": "30"}).is_redirect


def session_of(world, **typed):
    return {
        "bench_id": world.larch.bench_id, "season_id": world.season_id,
        "started_at": "2026-03-06T15:00", "adult_present": "yes",
    } | typed  # fmt: skip


class TestSessions:
    @pytest.mark.parametrize("unit", sorted(EXACT))
    def test_a_session_is_asked_and_stored_in_the_unit(self, world: World, coach, unit):
        choose(world, world.larch, unit)
        page = coach.get(f"/sessions/new?bench_id={world.larch.bench_id}").text
        assert f"wind_speed_start_{unit}" in fields_of(page)
        typed = session_of(world, **{f"wind_speed_start_{unit}": "9,2"})
        assert coach.post("/sessions/new", data=typed).is_redirect
        session = newest_session(world)
        assert session["wind_speed_start_m_s"] == pytest.approx(9.2 * EXACT[unit], rel=1e-9)
        field = f"wind_speed_start_{unit}"
        assert session["as_typed"]["wind_speed_start_m_s"]["field"] == field
        form = coach.get(f"/sessions/{session['id']}/edit").text
        assert fields_of(form)[field] == "9.2"

    def test_another_unit_may_be_typed(self, world: World, coach, in_mph):
        typed = session_of(world, wind_speed_start_mph="4,1 m/s")
        assert coach.post("/sessions/new", data=typed).is_redirect
        assert newest_session(world)["wind_speed_start_m_s"] == 4.1

    def test_a_change_in_another_unit_is_stored_and_an_untouched_wind_stays(
        self, world: World, coach, in_mph
    ):
        coach.post("/sessions/new", data=session_of(world, wind_speed_start_mph="9.2"))
        session = newest_session(world)
        form = session_of(world, version=str(session["version"]), wind_speed_start_mph="9.2")
        path = f"/sessions/{session['id']}/edit"
        assert coach.post(path, data=form | {"wind_speed_end_mph": "14.4 km/h"}).is_redirect
        changed = newest_session(world)
        assert changed["wind_speed_end_m_s"] == 4.0
        assert changed["as_typed"]["wind_speed_start_m_s"]["value"] == 9.2

    def test_a_form_that_was_open_while_the_unit_changed_means_what_it_showed(
        self, world: World, coach, in_mph
    ):
        typed = session_of(world, wind_speed_start_m_s="4.1")
        assert coach.post("/sessions/new", data=typed).is_redirect
        assert newest_session(world)["wind_speed_start_m_s"] == 4.1

    def test_pages_of_bench_and_session_show_the_unit(self, world: World, coach, in_mph):
        coach.post("/sessions/new", data=session_of(world, wind_speed_start_mph="9.2"))
        assert "9.2 mph" in coach.get(f"/benches/{world.larch.bench_id}").text
        page = coach.get(f"/sessions/{newest_session(world)['id']}").text
        assert "(mph)" in page
        assert "9.2" in page


def newest_session(world):
    query = {"bench_id": world.larch.bench_id, "limit": 50}
    items = world.larch.coach.get("/v1/sessions", params=query).json()["items"]
    return max(items, key=lambda each: each["id"])


class TestTrials:
    def test_the_form_at_the_bench_follows_the_chosen_session(self, world: World, visiting):
        choose(world, world.birch, "kn")
        lead = visiting(world.lead_key)
        for school, name in ((world.birch, "wind_speed_kn"), (world.larch, "wind_speed_m_s")):
            page = lead.get(f"/trials/new?session_id={school.session_id}").text
            assert list(fields_of(page)) == [name]

    def test_a_lead_of_schools_with_several_units_is_asked_in_si(self, world: World, visiting):
        choose(world, world.birch, "kn")
        page = visiting(world.lead_key).get("/trials/new").text
        assert list(fields_of(page)) == ["wind_speed_m_s"]

    def test_a_trials_own_wind_is_converted_and_offered_again(self, world: World, coach, in_mph):
        typed = {
            "session_id": world.larch.session_id, "build_id": world.larch.build_id,
            "kind": "record", "load_ohm": "30.1", "load_connected": "yes", "voltage_1": "1.3",
            "wind_speed_mph": "9.2",
        }  # fmt: skip
        answer = coach.post("/trials/new", data=typed)
        assert answer.status_code == 303, answer.text
        trial_id = answer.headers["location"].rsplit("/", 1)[1]
        trial = world.larch.coach.get(f"/v1/trials/{trial_id}").json()
        assert trial["wind_speed_m_s"] == pytest.approx(9.2 * EXACT["mph"], rel=1e-9)
        again = coach.get(f"/trials/new?after={trial_id}").text
        assert fields_of(again) == {"wind_speed_mph": "9.2"}


class TestGrids:
    @pytest.mark.usefixtures("in_mph")
    def test_points_of_a_grid_in_the_unit_and_one_in_another(self, world: World, coach):
        page = coach.get(f"/benches/{world.larch.bench_id}").text
        assert {f"{point}_mph" for point in POINTS} < set(fields_of(page))
        typed = {f"{point}_mph": "9" for point in POINTS[1:]} | {"point_0_mph": "4,0 m/s"}
        path = f"/benches/{world.larch.bench_id}/wind"
        assert coach.post(path, data=typed).is_redirect
        stored = world.larch.coach.get(f"/v1/benches/{world.larch.bench_id}/wind-grids").json()
        speeds = [point["wind_speed_m_s"] for point in stored["items"][0]["points"]]
        assert speeds == pytest.approx([4.0] + [9 * EXACT["mph"]] * 4, rel=1e-9)

    @pytest.mark.usefixtures("in_mph")
    def test_a_point_beyond_the_limits_is_named_at_its_field(self, world: World, coach):
        typed = {f"{point}_mph": "9" for point in POINTS[1:]} | {"point_0_mph": "99"}
        answer = coach.post(f"/benches/{world.larch.bench_id}/wind", data=typed)
        assert answer.status_code == 422
        assert 'id="e-point_0_mph"' in answer.text

    def test_a_grid_by_the_api_is_as_before(self, world: World):
        points = [{"x_radii": 0, "y_radii": 0, "wind_speed_m_s": 4.1}]
        path = f"/v1/benches/{world.larch.bench_id}/wind-grids"
        created(world.larch.coach.post(path, json={"points": points}))
