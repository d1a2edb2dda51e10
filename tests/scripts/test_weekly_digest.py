"""The weekly digest: what waits, in the words of a mail."""

from datetime import UTC, datetime

from scripts.weekly_digest import digest, part
from tests.support.gustbooks import gustbook_of
from tests.support.makers import World, created, trial_payload


class TestWeeklyDigest:
    NOW = datetime(2026, 4, 20, 9, 0, tzinfo=UTC)

    def text(self, client, world):
        season = client.get(f"/v1/seasons/{world.season_id}").json()
        return digest(gustbook_of(client), season, self.NOW)

    def test_a_week_without_questions_says_so(self, world: World):
        assert "Nothing needs an answer." in self.text(world.larch.coach, world)

    def test_it_lists_questions_the_event_and_quiet_teams_of_the_own_schools(self, world: World):
        held = trial_payload(world.larch, runs=[{"voltage_v": 1.2}, {"voltage_v": 0.8}])
        created(world.larch.coach.post("/v1/trials", json=held))
        text = self.text(world.larch.coach, world)
        assert "Need an answer and are not counted yet: 1" in text
        assert "Your readings disagree" in text
        assert "Spring meeting is in 26 days" in text
        assert "Larch one, Larch school: last trial 2026-03-05" in text
        assert "Birch" not in text

    def test_long_parts_are_shortened(self):
        lines = part("Title", [f"line {at}" for at in range(11)])
        assert len(lines) == 11
        assert lines[-1] == "  … and 3 more"
        assert part("Title", []) == []
