"""The safety figures of a build over the API."""

import pytest

from tests.support.events import patch
from tests.support.makers import (
    World,
)


class TestSafety:
    def test_figures_of_a_build(self, world: World):
        """12 g at 0.15 m and 6 m/s on 0.60 m: 1146 a minute, 2 · 0.012 · 120² · 0.15 = 51.8 N."""
        path = f"/v1/builds/{world.larch.build_id}"
        patch(world.larch.coach, path, rotor_diameter_m=0.6, blade_mass_kg=0.012,
              blade_balance_radius_m=0.15)  # fmt: skip
        body = world.larch.coach.get(f"{path}/safety", params={"wind_speed_m_s": 6.0}).json()
        assert body["runaway_speed_rpm"] == pytest.approx(1145.9, abs=0.1)
        assert body["pull_test_n"] == pytest.approx(51.84, abs=0.01)
        assert body["needs_guard"] is False
        assert any("must hold 52 N" in words for words in body["sentences"])

    def test_the_highest_wind_of_its_trials_counts(self, world: World):
        body = world.larch.coach.get(f"/v1/builds/{world.larch.build_id}/safety").json()
        assert body["wind_speed_m_s"] == pytest.approx(4.2)
        assert body["pull_test_n"] is None
        assert any("Weigh a blade" in words for words in body["sentences"])
