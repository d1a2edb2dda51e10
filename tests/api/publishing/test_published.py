"""Figures based on other schools' trials: what a key sees of them, and when they are updated."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from sqlmodel import select

from api.models.publishing.published import PublishedTrials
from api.models.registry.seasons import Season
from api.services.core.cache import _caches
from api.services.core.scope import Caller
from api.services.publishing import choosing, moved_trials, published
from api.services.publishing.packed_trials import unpacked
from api.services.publishing.publications import Choice, Publication, Shelf, shelf_of
from tests.support.makers import World, created, trial_payload
from tests.support.odd_trials import submit_odd

#: Fields about the time and the season's writes, which are not figures.
ABOUT = ("as_of", "others_as_of", "revision")


def seen(client, world, school):
    """Return the figures on the common scale that a key sees."""
    season = f"/v1/seasons/{world.season_id}"
    paths = (
        f"{season}/comparison", f"{season}/plan", f"/v1/teams/{school.team_id}/progress",
        f"{season}/report", f"/v1/events/{world.larch.event_id}/outlook",
    )  # fmt: skip
    answers = {}
    for path in paths:
        answer = client.get(path)
        assert answer.status_code == 200, answer.text
        answers[path] = figures_of(answer.json())
    return answers


def contents_of(db):
    """Return the trials of all publications that are stored."""
    rows = db.scalars(select(PublishedTrials)).all()
    return [unpacked(row.content).trials for row in rows if row.content]


def figures_of(answer):
    """Return an answer without its fields about the time."""
    if isinstance(answer, list):
        return [figures_of(each) for each in answer]
    if isinstance(answer, dict):
        return {name: figures_of(value) for name, value in answer.items() if name not in ABOUT}
    return answer


def send(school, ref, volts):
    """Submit a trial of three readings."""
    runs = [{"voltage_v": volts + step} for step in (0, 0.01, -0.01)]
    asked = trial_payload(school, client_ref=ref, runs=runs)
    return created(school.coach.post("/v1/trials", json=asked))


@pytest.fixture
def joined(world: World):
    """Both schools have trials that count, and the reference rotor ran at both."""
    for school in (world.larch, world.birch):
        for at in range(3):
            send(school, f"own-{at}", 1.2 + at / 100)
            rotor = trial_payload(
                school, build_id=world.reference_build_id, kind="reference",
                client_ref=f"ref-{at}", runs=[{"voltage_v": 1.3 + at / 100}] * 3,
            )  # fmt: skip
            created(school.coach.post("/v1/trials", json=rotor))
    return world


def test_one_confirmation_of_another_school_moves_nothing(joined: World):
    """The season's fit leaves an odd trial out; confirmed it would count, by a known factor."""
    odd = submit_odd(joined.birch)
    coach = joined.larch.coach
    before = seen(coach, joined, joined.larch)
    path = f"/v1/trials/{odd['id']}/confirm"
    confirmed = joined.birch.coach.post(path, json={"reason": "measured again"})
    assert confirmed.status_code == 200, confirmed.text
    assert seen(coach, joined, joined.larch) == before
    own = f"/v1/seasons/{joined.season_id}/comparison"
    assert joined.birch.coach.get(own).json()["odd_trials"] == []


@pytest.mark.parametrize("volts", [1.0, 1.25, 1.5])
def test_one_trial_of_another_school_moves_nothing(volts, joined: World):
    before = seen(joined.larch.coach, joined, joined.larch)
    hidden = send(joined.birch, "hidden", volts)
    assert seen(joined.larch.coach, joined, joined.larch) == before
    gone = joined.birch.coach.post(
        f"/v1/trials/{hidden['id']}/withdraw", json={"reason": "the fan was moved"}
    )
    assert gone.status_code == 200, gone.text
    assert seen(joined.larch.coach, joined, joined.larch) == before


def test_it_is_said_of_when_the_others_are(joined: World):
    season = f"/v1/seasons/{joined.season_id}"
    assert joined.larch.coach.get(f"{season}/comparison").json()["others_as_of"] is None
    send(joined.birch, "hidden", 1.5)
    moment = joined.larch.coach.get(f"{season}/comparison").json()["others_as_of"]
    assert abs(datetime.now(UTC) - datetime.fromisoformat(moment)) < timedelta(minutes=5)
    report = joined.larch.coach.get(f"{season}/report")
    assert report.json()["comparison"]["others_as_of"] == moment
    page = joined.larch.coach.get(f"{season}/report?format=html").text
    assert "Newer ones are shown once" in page
    assert joined.lead.get(f"{season}/comparison").json()["others_as_of"] is None


def test_an_own_trial_counts_at_once(joined: World):
    path = f"/v1/seasons/{joined.season_id}/comparison"
    send(joined.birch, "hidden", 1.5)
    before = joined.larch.coach.get(path).json()["builds"][0]["trials"]
    send(joined.larch, "mine", 1.27)
    assert joined.larch.coach.get(path).json()["builds"][0]["trials"] == before + 1


def test_a_lead_sees_all_at_once_and_in_full(joined: World):
    before = seen(joined.lead, joined, joined.larch)
    send(joined.birch, "hidden", 1.5)
    after = seen(joined.lead, joined, joined.larch)
    assert after != before
    builds = after[f"/v1/seasons/{joined.season_id}/comparison"]["builds"]
    assert any(len(str(each["fair_power_w"])) > 9 for each in builds)


def test_a_coach_is_given_a_tenth_of_the_uncertainty(joined: World):
    path = f"/v1/seasons/{joined.season_id}/comparison"
    (exact, *_), (published, *_) = (
        [
            each
            for each in client.get(path).json()["builds"]
            if each["build_id"] == joined.larch.build_id
        ]
        for client in (joined.lead, joined.larch.coach)
    )
    u_w = exact["fair_power_w"] * exact["u_total"]
    assert published["fair_power_w"] != exact["fair_power_w"]
    assert abs(published["fair_power_w"] - exact["fair_power_w"]) <= u_w / 20 * 1.001


@pytest.mark.on_both
def test_after_a_week_whatever_there_is_is_shown(joined: World, monkeypatch):
    before = seen(joined.larch.coach, joined, joined.larch)
    send(joined.birch, "hidden", 1.6)
    assert seen(joined.larch.coach, joined, joined.larch) == before
    monkeypatch.setattr(moved_trials, "LONGEST", timedelta(0))
    send(joined.birch, "another", 1.6)
    assert seen(joined.larch.coach, joined, joined.larch) != before


def test_a_trial_after_a_quiet_week_is_hidden_as_well(joined: World, monkeypatch):
    """A week counts from the first change, not from what was published before it."""
    before = seen(joined.larch.coach, joined, joined.larch)
    db = joined.lead.app.state.database
    with db.reading() as session:
        season = session.get(Season, joined.season_id)
        shelf = shelf_of(session, season)
    shelf.published = {
        at: replace(old, taken_at_s=old.taken_at_s - 8 * 86_400)
        for at, old in shelf.published.items()
    }
    send(joined.birch, "hidden", 1.6)
    assert seen(joined.larch.coach, joined, joined.larch) == before


@pytest.mark.on_both
def test_what_is_erased_is_gone_from_what_was_published(joined: World, run):
    seen(joined.larch.coach, joined, joined.larch)
    send(joined.birch, "hidden", 1.5)
    assert joined.birch.build_id in str(seen(joined.lead, joined, joined.larch))
    db = joined.lead.app.state.database
    with db.reading() as session:
        before = contents_of(session)
    erased = run("purge", "--organisation", joined.birch.organisation_id, "--yes")
    assert erased.exit_code == 0, erased.output
    assert seen(joined.larch.coach, joined, joined.larch)
    with db.reading() as session:
        after = contents_of(session)
    if session.get_bind().dialect.name == "postgresql":
        assert joined.birch.build_id in str(before)
    assert joined.birch.build_id not in str(after)


@pytest.mark.parametrize("database_kind", ["postgresql"], indirect=True)
def test_all_hosts_publish_the_same(joined: World):
    """Another host has nothing in memory: it takes what is stored."""
    seen(joined.larch.coach, joined, joined.larch)
    send(joined.birch, "hidden", 1.5)
    before = seen(joined.larch.coach, joined, joined.larch)
    _caches.clear()
    assert seen(joined.larch.coach, joined, joined.larch) == before


def test_who_reads_an_older_moment_publishes_nothing():
    shelf, trials = Shelf(), object()
    states = np.array([], dtype="<u8")
    shelf.take(Choice(5, 5, 0.0, Publication(5, 0.0, trials, states)))
    chosen = choosing._choice(None, SimpleNamespace(revision=4), shelf, trials)
    shelf.take(chosen)
    assert shelf.shown_at(4).revision == 5
    assert set(shelf.published) == {5}


def test_with_the_night_a_view_is_another(joined: World, monkeypatch):
    """More may be published without a write, so what was answered yesterday is not given today."""
    coach = Caller("key_x", "x", "coach", frozenset({joined.larch.organisation_id}))
    season = SimpleNamespace(timezone="Europe/Zurich")

    class Later(datetime):
        @classmethod
        def now(cls, tz=None):
            return super().now(tz) + timedelta(days=1)

    today = published.view_of(coach, season)
    monkeypatch.setattr(published, "datetime", Later)
    assert published.view_of(coach, season) != today
