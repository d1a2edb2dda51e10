"""Conditions for showing changes of trials to users who do not see the trials."""

from dataclasses import fields
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.trials.results import PowerResults
from api.services.measurements.season_trials import SeasonTrials
from api.services.publishing.moved_trials import (
    LEAST_TRIALS,
    LONGEST,
    Ages,
    Moved,
    facts_of,
    moved_trials,
    nights_since,
    part_way,
    states_of,
)

LARCH = frozenset({"larch"})
NOON = datetime(2026, 3, 15, 12, tzinfo=UTC)


def season_of(*trials: tuple) -> SeasonTrials:
    """Return trials by their id, school, bench, power and version (1 unless it is given)."""
    rows = [(*trial, 1)[:5] for trial in trials]
    ids, schools, benches, powers, versions = zip(*rows, strict=True)
    named = {"trial_id": ids, "organisation_id": schools, "bench_id": benches,
             "version": versions, "state": ["accepted"] * len(ids)}  # fmt: skip
    columns = {name: np.array(values, dtype=object) for name, values in named.items()}
    results = {each.name: np.full(len(ids), np.nan) for each in fields(PowerResults)}
    return SeasonTrials(columns, PowerResults(**results | {"normalised_power_w": np.array(powers)}))


def of(school: str, count: int, bench: str = "", power: float = 0.1, version: int = 1) -> list:
    """Return some trials of a school, at its own bench unless another is named."""
    place = bench or f"of {school}"
    return [(f"{school}-{at}", school, place, power, version) for at in range(count)]


def moved_by(*seasons: SeasonTrials) -> Moved:
    """Return the moved trials after the last of these seasons, if all others were published."""
    first, *others = seasons
    shown, before = np.union1d(states_of(first), facts_of(first)), first
    hosts = {f"of {school}": school for school in ("larch", "birch", "cedar", "holly")}
    for each in others:
        moved = moved_trials(before, each, shown, hosts)
        shown, before = np.union1d(shown, moved.states), each
    return moved


def moved_of(*schools: str) -> Moved:
    """Return a new trial of each of these schools."""
    names, count = np.array(schools), len(schools)
    return Moved(np.arange(count), names, names, np.full(count, True), np.arange(count))


def ages(*changed_hours_ago: float, first_seen_days_ago: float = 9) -> Ages:
    """Return ages of changes, by how many hours before noon each was made."""
    moments = NOON.timestamp() - 3600 * np.array(changed_hours_ago, dtype=float)
    first = NOON.timestamp() - 86_400 * first_seen_days_ago
    return Ages(NOON, "UTC", first, lambda: moments)


@pytest.mark.parametrize(
    ("schools", "hours_ago", "may_be"),
    [
        (["birch"], 0, False),
        (["birch"], 144, False),
        (["birch", "cedar"], 24, False),
        (["birch"] * LEAST_TRIALS, 0, False),
        (["birch"] * LEAST_TRIALS, 24, True),
        (["birch"] * (LEAST_TRIALS - 1) + ["cedar"], 0, True),
        (["birch"] * (LEAST_TRIALS - 2) + ["cedar"], 0, False),
        (["larch"] * LEAST_TRIALS + ["birch"], 0, False),
        (["larch"], 0, True),
    ],
)
def test_many_trials_of_two_other_schools_hide_each(schools, hours_ago, may_be):
    age = ages(*[hours_ago] * len(schools))
    assert moved_of(*schools).may_be_shown_to(LARCH, age) is may_be


def test_what_one_school_may_be_shown_no_other_is_shown_alone():
    moved = moved_of(*["larch"] * 4, *["birch"] * 4, "cedar")
    reaches = [frozenset(), LARCH, frozenset({"birch"})]
    assert moved.may_be_shown(reaches, ages())
    both = frozenset({"larch", "birch"})
    assert not moved.may_be_shown([*reaches, both], ages())


def test_results_that_others_facts_moved_hide_none():
    """A coach can move many results at once: by an own sweep, or by an instrument that is lent."""
    before, after = (of("birch", 5, power=power) + of("cedar", 5, power=power)
                     for power in (0.10, 0.101))  # fmt: skip
    moved = moved_by(season_of(*before), season_of(*after, ("hidden", "birch", "of birch", 0.2)))
    assert len(moved.school) == 11
    assert moved.is_new.sum() == 1
    assert not moved.may_be_shown_to(LARCH, ages())


def test_corrected_trials_are_new():
    before, after = (of("birch", 3, version=version, power=power)
                     + of("cedar", 3, version=version, power=power)
                     for version, power in ((1, 0.1), (2, 0.2)))  # fmt: skip
    assert moved_by(season_of(*before), season_of(*after)).may_be_shown_to(LARCH, ages())


def test_an_edited_note_moves_nothing():
    before, after = (of("birch", 3, version=version) + of("cedar", 3, version=version)
                     for version in (1, 2))  # fmt: skip
    moved = moved_by(season_of(*before), season_of(*after, ("hidden", "birch", "of birch", 0.2)))
    assert moved.trial_id.tolist() == ["hidden"]


def test_after_a_week_each_change_is_shown_by_its_own_age():
    """A change of one's own starts no clock for another that comes later."""
    moved = moved_of("larch", "birch")
    assert moved.aged(ages(7 * 24, 24)).tolist() == [True, False]
    last, current = (season_of(("0", "larch", "of larch", power), ("1", "birch", "of birch", power))
                     for power in (0.1, 0.2))  # fmt: skip
    content = part_way(last, current, {"1"})
    assert content.results.normalised_power_w.tolist() == [0.2, 0.1]


def test_a_change_of_unknown_age_dates_from_when_one_was_first_seen():
    moved = moved_of("birch")
    assert moved.aged(ages(np.nan, first_seen_days_ago=LONGEST.days)).all()
    assert not moved.aged(ages(np.nan, first_seen_days_ago=LONGEST.days - 1)).any()


def test_an_import_that_is_undone_hides_no_trial_that_came_meanwhile():
    first = of("birch", 3) + of("cedar", 3)
    imported = [(f"new-{row[0]}", *row[1:]) for row in first]
    hidden = ("hidden", "birch", "of birch", 0.2)
    moved = moved_by(season_of(*first), season_of(*first, *imported), season_of(*first, hidden))
    assert len(moved.school) == 7
    assert moved.is_new.sum() == 1
    assert not moved.may_be_shown_to(LARCH, ages())


def test_visitors_trials_that_a_host_moves_hide_none_elsewhere():
    elsewhere = of("holly", 1)
    before, after = (
        of("birch", 3, "of larch", power, version) + of("cedar", 3, "of larch", power, version)
        for version, power in ((1, 0.10), (2, 0.11))
    )
    hidden = [("holly-0", "holly", "of holly", 0.2)]
    moved = moved_by(season_of(*before, *elsewhere), season_of(*after, *hidden))
    assert len(moved.school) == 7
    assert not moved.may_be_shown_to(LARCH, ages())
    assert moved.may_be_shown_to(frozenset({"holly"}), ages())


def test_what_came_went_and_changed_has_moved():
    before = season_of(("a", "birch", "of birch", 0.1), ("b", "birch", "of birch", 0.1),
                       ("c", "birch", "of birch", np.nan))  # fmt: skip
    after = season_of(("b", "birch", "of birch", 0.2, 2), ("c", "birch", "of birch", np.nan),
                      ("d", "cedar", "of cedar", 0.1))  # fmt: skip
    moved = moved_by(before, after)
    assert sorted(moved.school.tolist()) == ["birch", "birch", "cedar"]
    assert moved.is_new.all()
    assert not len(moved_by(before, before).school)


def test_a_night_is_the_seasons_own():
    evening = datetime(2026, 3, 5, 22, 30, tzinfo=UTC)
    later = evening + timedelta(hours=1)
    assert nights_since(evening.timestamp(), later, "UTC") == 0
    assert nights_since(evening.timestamp(), later, "Europe/Zurich") == 1
