"""Pages that show how well things are measured: a season, a bench, one trial."""

from tests.support.makers import World, created, session_payload, trial_payload


def run_rotor_twice(world: World) -> None:
    """Run the reference rotor at Larch's bench in two sessions."""
    coach = world.larch.coach
    for day, volts in (("2026-03-12", 1.20), ("2026-03-19", 1.26)):
        asked = session_payload(world.larch, started_at=f"{day}T14:30:00Z")
        session_id = created(coach.post("/v1/sessions", json=asked))["id"]
        trial = trial_payload(world.larch, session_id=session_id, kind="reference",
                              build_id=world.reference_build_id,
                              runs=[{"voltage_v": volts}] * 3)  # fmt: skip
        created(coach.post("/v1/trials", json=trial))


def test_a_season_page_leads_to_how_well_it_measures(world: World, visiting):
    run_rotor_twice(world)
    coach = visiting(world.larch.coach_key)
    assert f'href="/seasons/{world.season_id}/quality"' in (
        coach.get(f"/seasons/{world.season_id}").text
    )
    page = coach.get(f"/seasons/{world.season_id}/quality").text
    assert "Larch hall: steady over 2 sessions." in page
    assert page.count('class="chart"') == 2  # for a phone, and for a larger screen
    for ending in ("pdf", "csv"):
        file = coach.get(f"/seasons/{world.season_id}/quality.{ending}")
        assert (file.status_code, "attachment" in file.headers["content-disposition"]) == (
            200,
            True,
        )


def test_a_bench_page_shows_its_control_chart(world: World, visiting):
    coach = visiting(world.larch.coach_key)
    assert 'class="chart"' not in coach.get(f"/benches/{world.larch.bench_id}").text
    run_rotor_twice(world)
    page = coach.get(f"/benches/{world.larch.bench_id}").text
    assert "Larch hall: steady over 2 sessions." in page
    assert 'class="chart"' in page


def test_a_trial_page_shows_what_its_power_is_uncertain_by(world: World, visiting):
    page = visiting(world.larch.coach_key).get(f"/trials/{world.larch.trial_id}").text
    assert "What this power is uncertain by" in page
    assert "of the uncertainty is the wind meter" in page


def test_a_reason_that_is_missing_is_asked_for_in_one_form_only(world: World, visiting):
    coach = visiting(world.larch.coach_key)
    page = coach.post(f"/trials/{world.larch.trial_id}/confirm", data={"reason": ""}).text
    assert page.count('class="fault"') == 1
