"""Large seasons: coaches share what was published, and others' writes make nothing again."""

import time
from dataclasses import replace

import numpy as np
import pytest

from api.models.registry.seasons import Season
from api.services.core import cache
from api.services.core.scope import Caller
from api.services.measurements import season_trials
from api.services.publishing import choosing, moved_trials, published
from api.services.publishing.publications import shelf_of
from api.services.season import fit, older_answers
from tests.support.makers import World, created, trial_payload
from tests.support.season_histories import History

WRITES = 25
#: Fields about the time of an answer, which are not figures.
OF_THE_MOMENT = ("as_of", "revision")


@pytest.fixture
def large(monkeypatch):
    """Let every season be a large one, and show no answer that may be outdated."""
    for module in (season_trials, older_answers, published, choosing):
        monkeypatch.setattr(module, "LARGE_SEASON", 0)
    for name in ("MOST_BEHIND_S", "MOST_BEHIND_PUBLISHED_S"):
        monkeypatch.setattr(older_answers, name, 0.0)


@pytest.fixture
def fits(monkeypatch):
    """Return the list of how many trials each fit of a season has."""
    seen, fit_season = [], fit.fit_season

    def noting(columns, **about):
        seen.append(len(columns["trial_id"]))
        return fit_season(columns, **about)

    monkeypatch.setattr(fit, "fit_season", noting)
    return seen


def send(school, name, volts=1.21, **changed):
    runs = [{"voltage_v": volts + at / 1000} for at in range(3)]
    asked = trial_payload(school, client_ref=name, runs=runs, **changed)
    return created(school.coach.post("/v1/trials", json=asked))


def compared(client, world):
    answer = client.get(f"/v1/seasons/{world.season_id}/comparison")
    assert answer.status_code == 200, answer.text
    return {name: value for name, value in answer.json().items() if name not in OF_THE_MOMENT}


def answers_of(school, world):
    """Return all answers of a coach that depend on trials."""
    paths = (
        f"/v1/seasons/{world.season_id}/report",
        f"/v1/seasons/{world.season_id}/comparison",
        f"/v1/organisations/{school.organisation_id}/report?season_id={world.season_id}",
        f"/v1/teams/{school.team_id}/progress",
    )
    answers = [school.coach.get(path).json() for path in paths]
    for answer in answers:
        for name in OF_THE_MOMENT:
            answer.pop(name)
    return answers


def differing(one, other, path=""):
    """Return where two answers differ, with both values."""
    if isinstance(one, dict) and isinstance(other, dict):
        names = sorted(one.keys() | other.keys())
        pairs = {f"{path}/{name}": (one.get(name), other.get(name)) for name in names}
        return [each for place, pair in pairs.items() for each in differing(*pair, place)]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = {f"{path}/{at}": pair for at, pair in enumerate(zip(one, other, strict=True))}
        return [each for place, pair in pairs.items() for each in differing(*pair, place)]
    return [] if one == other else [(path, one, other)]


def forget_answers(client):
    """Forget what is cached; what was published stays."""
    engine = client.app.state.database.read_engine
    kept = cache._caches.pop(engine, None)
    if kept is not None:
        cache._caches[engine] = cache.Cache()
        cache._caches[engine].pinned = kept.pinned


@pytest.mark.usefixtures("large")
class TestShared:
    def test_coaches_without_changes_of_their_own_share_one_fit(self, world: World, fits):
        first = compared(world.larch.coach, world)
        compared(world.birch.coach, world)
        assert len(fits) == 1
        assert first["others_as_of"] is not None

    def test_a_write_of_another_school_makes_nothing_again(self, world: World, fits):
        before = compared(world.larch.coach, world)
        send(world.birch, "theirs", 1.5)
        assert compared(world.larch.coach, world) == before
        assert len(fits) == 1

    def test_an_own_trial_counts_at_once(self, world: World):
        before = compared(world.larch.coach, world)["trials"]
        send(world.larch, "mine")
        assert compared(world.larch.coach, world)["trials"] == before + 1
        assert compared(world.birch.coach, world)["trials"] == before

    def test_a_lead_sees_all_at_once(self, world: World):
        before = compared(world.lead, world)["trials"]
        send(world.birch, "theirs")
        assert compared(world.lead, world)["trials"] == before + 1

    def test_facts_of_another_school_are_seen_at_once(self, world: World):
        path = f"/v1/organisations/{world.birch.organisation_id}"
        for sharing, is_named in (("named", True), ("own", False)):
            version = {"If-Match": world.lead.get(path).headers["etag"]}
            world.lead.patch(path, json={"sharing": sharing}, headers=version).raise_for_status()
            assert ("Birch one" in str(compared(world.larch.coach, world))) is is_named


def test_what_is_published_again_at_the_same_revision_replaces_it(large, world: World, app_client):
    """After a night more trials may be published although nobody wrote."""
    compared(world.larch.coach, world)
    caller = Caller("key_x", "x", "coach", frozenset({world.larch.organisation_id}))
    with app_client.app.state.database.reading() as db:
        season = db.get_one(Season, world.season_id)
        shelf = shelf_of(db, season)
        last = shelf.last()
        one = last.trials.in_order(np.arange(1))
        assert len(fit.fitted_season(db, caller, season).trials["build_id"]) == 2
        shelf.add(replace(last, trials=one, taken_at_s=last.taken_at_s + 1e-3))
        assert len(published.visible_trials(db, caller, season).trials) == 1
        assert len(fit.fitted_season(db, caller, season).trials["build_id"]) == 1


@pytest.mark.usefixtures("large")
class TestPause:
    @pytest.fixture(autouse=True)
    def hides_nothing(self, monkeypatch):
        """Let a single trial of a single school be published."""
        for name in ("LEAST_TRIALS", "LEAST_SCHOOLS"):
            monkeypatch.setattr(moved_trials, name, 1)

    def test_within_the_pause_nothing_is_published_again(self, world: World):
        before = compared(world.larch.coach, world)
        send(world.birch, "theirs", 1.5)
        assert compared(world.larch.coach, world) == before

    def test_after_the_pause_it_is_without_another_write(self, world: World, monkeypatch):
        before = compared(world.larch.coach, world)
        send(world.birch, "theirs", 1.5)
        assert compared(world.larch.coach, world) == before
        monkeypatch.setattr(choosing, "PAUSE_S", 0.2)
        until = time.monotonic() + 20
        while compared(world.larch.coach, world)["trials"] == before["trials"]:
            assert time.monotonic() < until, "it was never published"
            time.sleep(0.05)
        assert compared(world.larch.reader, world)["trials"] == before["trials"] + 1


@pytest.mark.usefixtures("large")
@pytest.mark.parametrize("pause_s", [0.0, 3600.0], ids=["no pause", "a long pause"])
@pytest.mark.parametrize("seed", range(3))
def test_what_is_kept_equals_what_is_made_from_nothing(
    seed, pause_s, world: World, app_client, monkeypatch
):
    monkeypatch.setattr(choosing, "PAUSE_S", pause_s)
    monkeypatch.setattr(moved_trials, "LEAST_TRIALS", 2)
    monkeypatch.setattr(moved_trials, "LEAST_SCHOOLS", 1)
    history = History(world, 100 + seed)
    for _ in range(WRITES):
        history.write()
        kept = [answers_of(school, world) for school in (world.larch, world.birch)]
        forget_answers(app_client)
        fresh = [answers_of(school, world) for school in (world.larch, world.birch)]
        for one, other in zip(kept, fresh, strict=True):
            for a, b in zip(one, other, strict=True):
                assert differing(a, b) == []
