"""Plan mid-season: which reference sessions or visits narrow the uncertainty most."""

from collections import Counter
from datetime import UTC, datetime
from itertools import islice

import numpy as np
from sqlmodel import Session, col, select

from analysis.comparison.bench_scores import missing_links
from analysis.comparison.planning import PlannedStep, Step, plan_steps
from analysis.numeric.resolution import two_digits
from analysis.uncertainty import percent
from api.messages import say
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.seasons import Season
from api.models.registry.turbines import Turbine
from api.models.season.plans import PlanStep, SeasonPlan
from api.services.core import resources, wording
from api.services.core.scope import Caller
from api.services.season import comparisons
from api.services.season.cached_answers import season_answer
from api.services.season.comparisons import VisibleComparison
from api.services.season.fit import Fitted, fitted_season

MOST_STEPS = 8
#: The most visits to evaluate; in a larger season those of the least certain builds.
MOST_VISITS = 1500


def season_plan(db: Session, caller: Caller, season_id: str) -> SeasonPlan:
    """Return a season's plan, cached for each revision."""
    season = resources.get_row(db, caller, Season, season_id)

    def make(db: Session, season: Season) -> SeasonPlan:
        return _plan(db, caller, season)

    return season_answer(db, caller, season, ("plan",), make)


def _plan(db: Session, caller: Caller, season: Season) -> SeasonPlan:
    fitted = fitted_season(db, caller, season)
    current = list(fitted.current.values()) if fitted else []
    if fitted is None or len(current) < 2:
        return _answer(season, len(current), [], None, say("reason.too_few_teams"))
    visible = comparisons.visible_to(db, caller, season)
    home = _home_benches(fitted, visible)
    joins = _joins(fitted, current, home)
    retired = _retired(db, fitted.references)
    planned = plan_steps(fitted.fit, current, _steps(fitted, current, home, retired), MOST_STEPS)
    host = Counter(home[build] for build in current).most_common(1)[0][0]
    day = plan_steps(fitted.fit, current, [Step("visit_day", host, tuple(current))], 1)
    steps, days = (
        [_read(caller, each, fitted, visible, joins) for each in planned_steps]
        for planned_steps in (planned, day)
    )
    return _answer(season, len(current), steps, days[0] if days else None, None)


def _answer(
    season: Season,
    teams: int,
    steps: list[PlanStep],
    visit_day: PlanStep | None,
    reason: str | None,
) -> SeasonPlan:
    first = steps[0] if steps else visit_day
    return SeasonPlan(
        season_id=season.id,
        as_of=datetime.now(UTC),
        revision=season.revision,
        teams=teams,
        doubt_pct=first.doubt_before_pct if first else None,
        steps=steps,
        visit_day=visit_day,
        reason=reason,
    )


def _home_benches(fitted: Fitted, visible: VisibleComparison) -> dict[str, str]:
    """Return the bench of its own school at which each build ran last, else any bench."""
    trials = fitted.trials
    home: dict[str, str] = {}
    for at in np.argsort(trials["started_at"].astype(float), kind="stable"):
        build, bench, team = (str(trials[name][at]) for name in ("build_id", "bench_id", "team_id"))
        is_own = (
            team and visible.benches[bench].organisation_id == visible.teams[team].organisation_id
        )
        if is_own or build not in home:
            home[build] = bench
    return home


def _joins(fitted: Fitted, current: list[str], home: dict[str, str]) -> dict[str, int]:
    """Return the number of current builds that a link to each bench would join."""
    links = missing_links(
        fitted.fit, {build: [bench] for build, bench in home.items()}, fitted.references, current
    )
    return {link.bench_id: len(link.joins) for link in links}


def _retired(db: Session, references: list[str]) -> set[str]:
    """Return the retired reference rotors."""
    query = (
        select(Build.id)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .join(Equipment, col(Equipment.id) == col(Turbine.rotor_id))
        .where(col(Build.id).in_(references), col(Equipment.retired_on).is_not(None))
    )
    return set(db.scalars(query))


def _steps(
    fitted: Fitted, current: list[str], home: dict[str, str], retired: set[str]
) -> list[Step]:
    """Return possible steps: a reference rotor at each bench, each build at each other bench."""
    benches = sorted({home[build] for build in current})
    rotors = [
        build for build in fitted.references if build in fitted.assigned and build not in retired
    ]
    reference = [Step("reference", bench, (rotor,)) for rotor in rotors[-1:] for bench in benches]
    visits = (
        Step("visit", bench, (build,))
        for build in _least_certain(fitted, current)
        for bench in benches
        if bench != home[build]
    )
    return [*reference, *islice(visits, MOST_VISITS)]


def _least_certain(fitted: Fitted, current: list[str]) -> list[str]:
    """Return builds, least certain first: their visits help most."""
    uncertainties = np.diag(fitted.fit.covariance_of(current))
    return [current[at] for at in np.argsort(-uncertainties, kind="stable")]


def _read(
    caller: Caller,
    planned: PlannedStep,
    fitted: Fitted,
    visible: VisibleComparison,
    joins: dict[str, int],
) -> PlanStep:
    """Return a planned step in words, without names that the caller may not see."""
    step = planned.step
    bench = visible.benches.get(step.bench_id)
    if bench is not None and not caller.reaches(bench.organisation_id):
        bench = None
    away = [build for build in step.build_ids if fitted.team_of[build]]
    teams = [fitted.team_of[build] for build in away]
    shown = [fitted.team_of[build] for build in away if visible.is_shown(build, fitted)]
    name = bench.name if bench else say("report_words.their_bench")
    uncertainties = (
        percent(each) for each in (planned.uncertainty_before, planned.uncertainty_after)
    )
    before, after = (two_digits(each) if fitted.is_coarse else each for each in uncertainties)
    sentence = wording.statement(
        f"plan.{step.kind}",
        bench=name,
        team=visible.teams[shown[0]].name if len(shown) == 1 else say("report_words.anothers_team"),
        teams=len(teams),
        before=before,
        after=after,
    )
    return PlanStep.model_validate(
        sentence
        | {
            "kind": step.kind,
            "bench_id": step.bench_id if bench else None,
            "team_ids": shown,
            "joins": joins.get(step.bench_id, 0),
            "doubt_before_pct": before,
            "doubt_after_pct": after,
        }
    )
