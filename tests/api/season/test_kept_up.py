"""Trials and facts that are updated from write to write equal those that are made from nothing."""

import numpy as np
import pytest

from api.models.registry.seasons import Season
from api.services.core.cache import cache_of
from api.services.measurements import season_trials
from api.services.season.season_facts import facts_of, season_facts
from tests.support.makers import World
from tests.support.season_histories import History

WRITES = 30


@pytest.fixture
def large(monkeypatch):
    """Let every season be a large one."""
    monkeypatch.setattr(season_trials, "LARGE_SEASON", 0)


def require_equal(kept, fresh):
    for name, column in fresh.trials.items():
        assert kept.trials[name].tolist() == column.tolist(), name
    for name in fresh.results.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(kept.results, name), getattr(fresh.results, name))


def require_same_facts(kept, fresh):
    assert kept.teams == fresh.teams
    assert kept.current_builds == fresh.current_builds
    assert kept.summaries.keys() == fresh.summaries.keys()
    for team_id in fresh.summaries:
        season = fresh.season(team_id)
        assert kept.season(team_id) == season
        assert kept.current(team_id) == fresh.current(team_id)
        assert kept.count_sessions([team_id]) == len(season.sessions)
        for build_id in {season.current.label, season.first_build.label}:
            assert kept.latest_of_build[build_id] == fresh.latest_of_build[build_id]
    assert kept.started_at.items() >= fresh.started_at.items()
    there = {bench: teams for bench, teams in kept.teams_at.items() if teams}
    assert there == fresh.teams_at


@pytest.mark.usefixtures("large")
@pytest.mark.parametrize("seed", range(4))
def test_a_season_kept_up_from_write_to_write(seed, world: World, app_client):
    history, updated = History(world, seed), 0
    read = season_trials._read
    for _ in range(WRITES):
        history.write()
        with app_client.app.state.database.reading() as db:
            season = db.get_one(Season, world.season_id)
            before = cache_of(db).newest(("trials", season.id, None), 0)
            kept = season_trials.season_trials(db, season)
            require_equal(kept, read(db, season, None))
            require_same_facts(season_facts(db, season), facts_of(kept))
            updated += before is not None and before[0] < season.revision
    assert updated > WRITES / 3
