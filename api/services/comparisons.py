"""Comparing schools fairly: all of the season is fitted, and each caller sees what is shared."""

import math
from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import combinations

import numpy as np
from sqlmodel import Session, col, select

from analysis.comparison import SeasonFit, fit_season
from analysis.season import ACCEPTED, summarise_teams
from analysis.standing import BenchScore, missing_links, percent, score_benches, stand
from analysis.trial_result import TrialResults, trial_results
from analysis.uncertainty import combine, interval
from api.models.benches import Bench
from api.models.builds import Build
from api.models.comparison import (
    BenchScoreRead,
    FairBuild,
    MissingLinkRead,
    PairRead,
    SeasonComparison,
)
from api.models.organisations import Organisation
from api.models.seasons import Season
from api.models.teams import Team
from api.models.trials import Trial
from api.services import resources, wording
from api.services.cache import cache_of
from api.services.frames import Array, Frame, read_frame
from api.services.scope import Caller

#: Kinds of trial that say how strong a build is, at home, away or as the reference.
COMPARED = ("record", "visit", "reference")
U_PLACEMENT = 0.02  # [-], the tower put back in its place; common practice, no source
SECONDS_A_WEEK = 604_800.0


@dataclass(frozen=True, slots=True)
class _Known:
    """Names and owners of what the season's trials speak of, and what the caller may be told."""

    teams: dict[str, Team]
    numbers: dict[str, int]
    assigned: dict[str, float]
    benches: dict[str, Bench]
    shown: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Fitted:
    """A fit of the season and the trials behind it."""

    fit: SeasonFit
    trials: dict[str, Array]
    current: dict[str, str]

    @property
    def team_of(self) -> dict[str, str]:
        """Return the team of each build; empty for a reference rotor."""
        return dict(zip(self.trials["build_id"], self.trials["team_id"], strict=True))


def compare_season(db: Session, caller: Caller, season_id: str) -> SeasonComparison:
    """Return the season's builds on one scale; fitted once for each revision of its facts."""
    season = resources.get_row(db, caller, Season, season_id)
    key = ("comparison", season.id, season.revision, caller.sees)
    kept: SeasonComparison = cache_of(db).get_or_make(key, lambda: _compare(db, caller, season))
    return kept


def _compare(db: Session, caller: Caller, season: Season) -> SeasonComparison:
    frame = read_frame(db, col(Trial.season_id) == season.id)
    fitted = _fit(frame)
    if fitted is None:
        return _nothing(season)
    known = _known(db, caller, fitted)
    builds = [
        _fair(build_id, fitted, known)
        for build_id in fitted.fit.build_ids
        if _team_shown(build_id, fitted, known)
    ]
    hidden = sum(bool(team) for team in fitted.team_of.values()) - len(builds)
    return SeasonComparison(
        season_id=season.id,
        as_of=datetime.now(UTC),
        revision=season.revision,
        groups=_groups_shown(fitted, known),
        builds=builds,
        benches=_benches(caller, fitted, known),
        pairs=_pairs(fitted, known),
        missing_links=_links(caller, fitted, known),
        trials=len(fitted.trials["trial_id"]),
        not_shown=hidden,
        reason=None,
    )


def _nothing(season: Season) -> SeasonComparison:
    return SeasonComparison(
        season_id=season.id,
        as_of=datetime.now(UTC),
        revision=season.revision,
        groups=[],
        builds=[],
        benches=[],
        pairs=[],
        missing_links=[],
        trials=0,
        not_shown=0,
        reason=wording.NO_TRIALS,
    )


def _fit(frame: Frame) -> _Fitted | None:
    """Fit the trials that count; nothing where there is none."""
    results = trial_results(frame.trials, frame.runs)
    counted = (
        np.isin(frame.trials["kind"].astype(str), COMPARED)
        & (frame.trials["state"] == ACCEPTED)
        & np.isfinite(results.normalised_power_w)
    )
    if not counted.any():
        return None
    trials = {name: column[counted] for name, column in frame.trials.items()}
    age = (trials["started_at"].max() - trials["started_at"]) / SECONDS_A_WEEK
    columns = {name: trials[name].astype(str) for name in ("build_id", "team_id", "bench_id")}
    fit = fit_season(
        columns
        | {
            "session_id": trials["session_id"].astype(str),
            "log_power": np.log(results.normalised_power_w[counted]),
            "u_own": _scatter(results)[counted],
        },
        age_weeks=age,
    )
    teams = summarise_teams(frame.trials, results)
    return _Fitted(
        fit, trials, {team.team_id: team.current.label for team in teams if team.team_id}
    )


def _scatter(results: TrialResults) -> Array:
    """Return what is uncertain of a trial beside its session and bench, which have terms."""
    return combine(
        results.u_repeat,
        np.full_like(results.u_repeat, U_PLACEMENT),
        results.ln_wind_ratio * results.u_wind_exponent,
        results.ln_density_ratio * results.u_density_exponent,
    )


def _known(db: Session, caller: Caller, fitted: _Fitted) -> _Known:
    """Read names, and whose builds the caller may be told of: own, and of schools that say so."""
    teams = {row.id: row for row in db.scalars(select(Team))}
    builds = list(db.scalars(select(Build)))
    named = select(Organisation.id).where(col(Organisation.sharing) == "named")
    everyone = frozenset(team.organisation_id for team in teams.values())
    own = caller.organisation_ids
    return _Known(
        teams=teams,
        numbers={row.id: row.number for row in builds},
        assigned={row.id: row.assigned_power_w for row in builds if row.assigned_power_w},
        benches={row.id: row for row in db.scalars(select(Bench))},
        shown=everyone if own is None else own | frozenset(db.scalars(named)),
    )


def _team_shown(build_id: str, fitted: _Fitted, known: _Known) -> bool:
    team = known.teams.get(fitted.team_of[build_id])
    return team is not None and team.organisation_id in known.shown


def _groups_shown(fitted: _Fitted, known: _Known) -> list[list[str]]:
    """Return the groups with the builds that the caller may know, and reference rotors."""
    return [
        [
            build_id
            for build_id in group
            if not fitted.team_of[build_id] or _team_shown(build_id, fitted, known)
        ]
        for group in fitted.fit.groups
    ]


def _anchor(build_id: str, fitted: _Fitted, known: _Known) -> str | None:
    """Return the reference rotor with an assigned power in a build's group."""
    group = next(group for group in fitted.fit.groups if build_id in group)
    return next((each for each in group if each in known.assigned), None)


def _fair(build_id: str, fitted: _Fitted, known: _Known) -> FairBuild:
    team = known.teams[fitted.team_of[build_id]]
    anchor = _anchor(build_id, fitted, known)
    power = u = span = None
    if anchor is not None:
        effects = fitted.fit.effects
        power = known.assigned[anchor] * math.exp(effects[build_id] - effects[anchor])
        u = fitted.fit.u_difference(build_id, anchor)
        span = interval(power, u)
    return FairBuild(
        build_id=build_id,
        build_number=known.numbers[build_id],
        team_id=team.id,
        team_name=team.name,
        current=fitted.current.get(team.id) == build_id,
        group=next(i for i, group in enumerate(fitted.fit.groups) if build_id in group),
        fair_power_w=power,
        u_total=u,
        interval_w=span,
        trials=int(np.sum(fitted.trials["build_id"] == build_id)),
        reason=None if anchor else wording.NO_REFERENCE,
    )


def _benches(caller: Caller, fitted: _Fitted, known: _Known) -> list[BenchScoreRead]:
    """Return the scores of benches, a coach's own ones only."""
    own = caller.organisation_ids
    counts = Counter(fitted.trials["bench_id"])
    return [
        _bench(score, known.benches[score.bench_id].name, counts[score.bench_id])
        for score in score_benches(fitted.fit)
        if own is None or known.benches[score.bench_id].organisation_id in own
    ]


def _bench(score: BenchScore, name: str, trials: int) -> BenchScoreRead:
    return BenchScoreRead(
        bench_id=score.bench_id,
        name=name,
        effect_pct=percent(score.effect),
        u_pct=100 * score.u,
        z=score.z,
        verdict=score.verdict,
        trials=trials,
    )


def _pairs(fitted: _Fitted, known: _Known) -> list[PairRead]:
    """Return what may be said of each two current builds, the stronger first."""
    current = [each for each in fitted.current.values() if _team_shown(each, fitted, known)]
    current.sort(key=lambda build_id: -fitted.fit.effects[build_id])
    names = {each: known.teams[fitted.team_of[each]].name for each in current}
    pairs = [stand(fitted.fit, a, b) for a, b in combinations(current, 2)]
    return [
        PairRead(
            a=pair.a,
            b=pair.b,
            comparable=pair.comparable,
            probability_a_ahead=pair.probability_a_ahead,
            u_difference=pair.u_difference,
            statement=pair.statement,
            sentence=wording.pair(
                pair.statement, pair.comparable, names[pair.a], names[pair.b],
                pair.probability_a_ahead,
            ),
        )
        for pair in pairs
    ]  # fmt: skip


def _links(caller: Caller, fitted: _Fitted, known: _Known) -> list[MissingLinkRead]:
    """Return the sessions that would join what is apart, the most useful first."""
    benches_of: dict[str, list[str]] = defaultdict(list)
    for build_id, bench_id in zip(
        fitted.trials["build_id"], fitted.trials["bench_id"], strict=True
    ):
        benches_of[build_id].append(bench_id)
    references = [build for build, team in fitted.team_of.items() if not team]
    links = []
    for missing in missing_links(fitted.fit, benches_of, references):
        shown = [each for each in missing.joins if _team_shown(each, fitted, known)]
        if shown:
            teams = list(dict.fromkeys(known.teams[fitted.team_of[each]].name for each in shown))
            bench = known.benches[missing.bench_id]
            own = caller.organisation_ids
            is_told = own is None or bench.organisation_id in own
            links.append(
                MissingLinkRead(
                    joins=shown,
                    bench_id=bench.id if is_told else None,
                    needs=missing.needs,
                    sentence=wording.link(
                        missing.needs, bench.name if is_told else wording.ANOTHERS_BENCH, teams
                    ),
                )
            )
    return links
