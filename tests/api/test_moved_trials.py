"""When changes of trials may be shown to who does not see the trials themselves."""

from dataclasses import fields
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.trial_result import PowerResults
from api.services.moved_trials import (
    LEAST_TRIALS,
    LONGEST,
    Moved,
    moved_trials,
    nights_between,
    states_shown,
)
from api.services.season_trials import SeasonTrials

LARCH, NOTHING = frozenset({"larch"}), np.array([], dtype="<u8")


def season_of(*trials: tuple[str, str, str, float]) -> SeasonTrials:
    """Return trials by their id, school, bench and power."""
    ids, schools, benches, powers = zip(*trials, strict=True)
    named = {"trial_id": ids, "organisation_id": schools, "bench_id": benches}
    columns = {name: np.array(values, dtype=object) for name, values in named.items()}
    results = {each.name: np.full(len(ids), np.nan) for each in fields(PowerResults)}
    return SeasonTrials(columns, PowerResults(**results | {"normalised_power_w": np.array(powers)}))


def of(school: str, count: int, bench: str = "", power: float = 0.1) -> list:
    """Return some trials of a school, at its own bench where no other is named."""
    return [(f"{school}-{at}", school, bench or f"of {school}", power) for at in range(count)]


def moved_by(*seasons: SeasonTrials) -> Moved:
    """Return what moved with the last of some seasons, all others of which were published."""
    shown, before = NOTHING, None
    for each in seasons[:-1]:
        shown, before = states_shown(before, each, shown), each
    hosts = {f"of {school}": school for school in ("larch", "birch", "cedar", "holly")}
    return moved_trials(before, seasons[-1], shown, hosts)


def moved_of(*schools: str) -> Moved:
    """Return a new trial of each of these schools."""
    return Moved(np.array(schools), np.array(schools), np.full(len(schools), True))


@pytest.mark.parametrize(
    ("schools", "nights", "may_be"),
    [
        (["birch"], 0, False),
        (["birch"], 6, False),
        (["birch", "cedar"], 1, False),
        (["birch"] * LEAST_TRIALS, 0, False),
        (["birch"] * LEAST_TRIALS, 1, True),
        (["birch"] * (LEAST_TRIALS - 1) + ["cedar"], 0, True),
        (["birch"] * (LEAST_TRIALS - 2) + ["cedar"], 0, False),
        (["larch"] * LEAST_TRIALS + ["birch"], 0, False),
        (["larch"], 0, True),
        (["birch"], LONGEST.days, True),
    ],
)
def test_many_trials_of_two_other_schools_hide_each(schools, nights, may_be):
    assert moved_of(*schools).may_be_shown_to(LARCH, nights) is may_be


def test_what_one_school_may_be_shown_no_other_is_shown_alone():
    moved = moved_of(*["larch"] * 4, *["birch"] * 4, "cedar")
    reaches = [frozenset(), LARCH, frozenset({"birch"})]
    assert moved.may_be_shown(reaches, 0)
    assert not moved.may_be_shown([*reaches, frozenset({"larch", "birch"})], 0)


def test_an_import_that_is_undone_hides_no_trial_that_came_meanwhile():
    first = of("birch", 3) + of("cedar", 3)
    imported = [(f"new-{row[0]}", *row[1:]) for row in first]
    hidden = ("hidden", "birch", "of birch", 0.2)
    moved = moved_by(season_of(*first), season_of(*first, *imported), season_of(*first, hidden))
    assert len(moved.school) == 7
    assert moved.is_new.sum() == 1
    assert not moved.may_be_shown_to(LARCH, 0)


def test_visitors_trials_that_a_host_moves_hide_none_elsewhere():
    elsewhere = of("holly", 1)
    before, after = (
        of("birch", 3, "of larch", power) + of("cedar", 3, "of larch", power)
        for power in (0.10, 0.11)
    )
    hidden = [("holly-0", "holly", "of holly", 0.2)]
    moved = moved_by(season_of(*before, *elsewhere), season_of(*after, *hidden))
    assert len(moved.school) == 7
    assert not moved.may_be_shown_to(LARCH, 0)
    assert moved.may_be_shown_to(frozenset({"holly"}), 0)


def test_what_came_went_and_changed_has_moved():
    before = season_of(("a", "birch", "of birch", 0.1), ("b", "birch", "of birch", 0.1),
                       ("c", "birch", "of birch", np.nan))  # fmt: skip
    after = season_of(("b", "birch", "of birch", 0.2), ("c", "birch", "of birch", np.nan),
                      ("d", "cedar", "of cedar", 0.1))  # fmt: skip
    moved = moved_by(before, after)
    assert sorted(moved.school.tolist()) == ["birch", "birch", "cedar"]
    assert moved.is_new.all()
    assert not len(moved_by(before, before).school)


def test_a_night_is_the_seasons_own():
    evening = datetime(2026, 3, 5, 22, 30, tzinfo=UTC)
    assert nights_between(evening, evening + timedelta(hours=1), "UTC") == 0
    assert nights_between(evening, evening + timedelta(hours=1), "Europe/Zurich") == 1
