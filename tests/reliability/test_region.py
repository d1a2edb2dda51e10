"""A short run of the region's mixed clients, on a season that is just large enough."""

from api.services.measurements.season_trials import LARGE_SEASON
from tests.reliability.places import fresh
from tests.reliability.region import READS, fill_into, run

TRIALS, TEAMS, READERS, WRITERS, SECONDS = 6_000, 75, 10, 2, 6.0


def test_coaches_read_a_large_season_while_others_write():
    assert TRIALS > LARGE_SEASON
    with fresh("sqlite") as (folder, url):
        fill_into(url, TRIALS, TEAMS)
        seen = run(url, folder, SECONDS, READERS, WRITERS)
    assert not seen.wrong
    assert READS.keys() < seen.seconds.keys()
    assert len(seen.seconds["submit a trial"]) >= WRITERS
