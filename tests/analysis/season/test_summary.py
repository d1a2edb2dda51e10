"""Typical power, first and latest build, and trials left out, in seasons worked by hand."""

import numpy as np
import pytest

from analysis.season.summary import summarise_teams, why_left_out
from tests.support.season_trials import DAY, only_team, season


def test_typical_is_the_geometric_mean_of_the_current_build():
    team = only_team(
        {"volts": 0.1, "build_id": "b1", "build_number": 1},
        {"volts": 0.2, "build_id": "b2", "build_number": 2, "session_id": "s2", "started_at": DAY},
        {"volts": 0.8, "build_id": "b2", "build_number": 2, "session_id": "s3",
         "started_at": 2 * DAY},
    )  # fmt: skip
    assert team.current.label == "b2"
    assert team.current.normalised_power_w == pytest.approx(0.2 * 0.8, rel=1e-4)
    assert (team.current.trials, team.current.sessions, len(team.sessions)) == (2, 2, 3)
    assert team.sessions[0].normalised_power_w == pytest.approx(0.01, rel=1e-4)
    assert team.sessions[-1].normalised_power_w == pytest.approx(0.64, rel=1e-4)
    assert team.change.change_pct == pytest.approx(1500, rel=1e-3)


def test_best_seen_is_a_trial_not_a_reading_and_counts_all():
    team = only_team({"volts": 0.3}, {"volts": 0.2}, {"volts": 0.1})
    assert team.best_seen.normalised_power_w == pytest.approx(0.09, rel=1e-4)
    assert (team.best_seen.trial_id, team.best_seen.trials) == ("trial 0", 3)


def test_builds_of_one_session_are_ordered_by_their_numbers():
    team = only_team(
        {"volts": 0.2, "build_id": "zz", "build_number": 1},
        {"volts": 0.3, "build_id": "aa", "build_number": 2},
    )
    assert (team.first_build.label, team.current.label) == ("zz", "aa")


def test_an_old_build_tested_again_is_not_the_current_one():
    team = only_team(
        {"volts": 0.3, "build_id": "b2", "build_number": 2},
        {"volts": 0.2, "build_id": "b1", "build_number": 1, "session_id": "s2", "started_at": DAY},
    )
    assert (team.first_build.label, team.current.label) == ("b1", "b2")


def test_a_later_turbine_starts_its_numbers_again():
    team = only_team(
        {"volts": 0.3, "build_id": "old", "build_number": 7},
        {"volts": 0.2, "build_id": "new", "build_number": 1, "turbine_id": "x", "session_id": "s2",
         "started_at": DAY},
    )  # fmt: skip
    assert team.current.label == "new"


def test_one_build_has_no_change():
    assert only_team({"volts": 0.2}).change is None


def test_teams_are_apart():
    teams = summarise_teams(
        *season({"volts": 0.2, "team_id": "a"}, {"volts": 0.4, "team_id": "b", "build_id": "b9"})
    )
    assert [team.team_id for team in teams] == ["a", "b"]
    assert teams[1].current.normalised_power_w == pytest.approx(0.16, rel=1e-4)


def test_the_same_session_of_two_teams_is_two_figures():
    teams = summarise_teams(
        *season({"volts": 0.2, "team_id": "a"}, {"volts": 0.4, "team_id": "b", "build_id": "b9"})
    )
    assert [team.sessions[-1].normalised_power_w for team in teams] == pytest.approx(
        [0.04, 0.16], rel=1e-4
    )


def test_every_trial_that_does_not_count_says_why():
    frame, results = season(
        {"volts": 0.2},
        {"volts": 0.2, "state": "withdrawn"},
        {"volts": 0.2, "state": "held"},
        {"volts": 0.2, "kind": "pitch"},
        {"volts": 0.2, "facts": {"wind_speed_start_m_s": 6.0}},
        {"volts": 0.0},
    )
    assert why_left_out(frame, results).tolist() == [
        "", "withdrawn", "held", "other_kind", "out_of_range", "not_normalised",
    ]  # fmt: skip


def test_an_empty_season_is_no_error():
    frame, results = season({"volts": 0.2, "state": "held"})
    assert not summarise_teams(frame, results)


def test_the_order_of_rows_does_not_matter():
    trials = [
        {"volts": 0.1 + 0.05 * i, "team_id": f"t{i % 3}", "build_id": f"b{i % 6}",
         "build_number": 1 + i % 6, "session_id": f"s{i % 4}", "started_at": DAY * (i % 4)}
        for i in range(24)
    ]  # fmt: skip
    mixed = [trials[i] for i in np.random.default_rng(3).permutation(24)]

    def as_text(teams):
        return [
            (t.team_id, t.current.label, round(t.current.normalised_power_w, 12), len(t.sessions))
            for t in teams
        ]

    assert as_text(summarise_teams(*season(*trials))) == as_text(summarise_teams(*season(*mixed)))
