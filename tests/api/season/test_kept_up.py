"""Trials that are updated from write to write equal those that are read from nothing."""

import numpy as np
import pytest

from api.models.registry.seasons import Season
from api.services.core.cache import cache_of
from api.services.measurements import season_trials
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
            updated += before is not None and before[0] < season.revision
    assert updated > WRITES / 3
