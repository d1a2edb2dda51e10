"""Tell how well a season measures: the reference rotor, repeatability, what decides the order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

from sqlmodel import Session, col, select

from analysis.comparison.assumptions import PairChange, pairs_with_interaction
from analysis.comparison.bench_influence import (
    MOST_BENCHES,
    BenchInfluence,
    bench_influences,
    can_leave_out,
)
from analysis.comparison.control_chart import ChartPoint, ControlChart, control_charts
from analysis.comparison.precision import Level, percent_limit, precision_of
from analysis.numeric.resolution import two_digits
from analysis.uncertainty import percent
from api.messages import days, say
from api.models.registry.builds import Build
from api.models.registry.seasons import Season
from api.models.registry.turbines import Turbine
from api.models.season.quality import (
    ChartPointRead,
    ControlChartRead,
    InfluenceRead,
    InteractionRead,
    PairChangeRead,
    PrecisionRead,
    SeasonQuality,
)
from api.services.core import resources, wording
from api.services.core.scope import Caller
from api.services.season.cached_answers import season_answer
from api.services.season.comparisons import VisibleComparison, visible_to
from api.services.season.drift_words import read_drift
from api.services.season.fit import Fitted, fitted_season
from api.services.season.fit_columns import FitColumns, columns_of_season
from api.services.season.ranking import comparable_builds

MOST_REVERSED = 10  # pairs listed for a bench
OTHER_INTERACTION = 2.0  # times the spread over benches that comparisons are shown for
LEVELS = ("repeatability", "intermediate", "reproducibility")


@dataclass(frozen=True, slots=True)
class _Asked:
    """What every part of the answer is made from."""

    caller: Caller
    fitted: Fitted
    visible: VisibleComparison
    columns: FitColumns

    def is_own(self, bench_id: str) -> bool:
        """Tell whether a bench is the caller's; a lead has all of them."""
        own = self.caller.organisation_ids
        return own is None or self.visible.benches[bench_id].organisation_id in own

    def rounded(self, value: float) -> float:
        """Round a figure to two digits if it depends on hidden trials."""
        return two_digits(value) if self.fitted.is_coarse else value

    def team(self, build_id: str) -> str:
        """Return the name of a build's team."""
        return self.visible.teams[self.fitted.team_of[build_id]].name


def season_quality(db: Session, caller: Caller, season_id: str) -> SeasonQuality:
    """Return how well a season measures, cached for each revision."""
    season = resources.get_row(db, caller, Season, season_id)

    def make(db: Session, season: Season) -> SeasonQuality:
        return _quality(db, caller, season)

    return season_answer(db, caller, season, ("quality",), make)


def _quality(db: Session, caller: Caller, season: Season) -> SeasonQuality:
    fitted = fitted_season(db, caller, season)
    facts = {"season_id": season.id, "name": season.name, "revision": season.revision,
             "as_of": datetime.now(UTC)}  # fmt: skip
    if fitted is None:
        return SeasonQuality(
            **facts, charts=[], drift=None, precision=[], influence=[], influence_left_out=None,
            interaction=None, reason=say("reason.no_trials"),
        )  # fmt: skip
    columns = columns_of_season(db, caller, season)
    asked = _Asked(caller, fitted, visible_to(db, caller, season), columns)
    is_small = can_leave_out(columns.columns, fitted.fit)
    return SeasonQuality(
        **facts,
        charts=_charts(asked, _rotor_names(db, fitted.references)),
        drift=read_drift(fitted),
        precision=_precision(asked),
        influence=_influences(asked) if is_small else [],
        influence_left_out=None if is_small else say("quality.too_large", benches=MOST_BENCHES),
        interaction=_interaction(db, season, asked) if is_small else None,
        reason=None,
    )


# --- the reference rotor --------------------------------------------------------------------


def _rotor_names(db: Session, build_ids: Sequence[str]) -> dict[str, str]:
    rows = (
        select(Build.id, Turbine.name)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .where(col(Build.id).in_(build_ids))
    )
    return dict(db.execute(rows).all())


def _charts(asked: _Asked, rotors: Mapping[str, str]) -> list[ControlChartRead]:
    # With odd trials: they are what a chart is for.
    is_rotor = asked.columns.columns["team_id"] == ""
    measured = asked.columns.only(is_rotor) | {"log_power": asked.columns.measured[is_rotor]}
    charts = control_charts(measured, asked.fitted.fit.spread)
    return [
        _chart(chart, asked, rotors[chart.rotor_id])
        for chart in charts
        if asked.is_own(chart.bench_id)
    ]


def _chart(chart: ControlChart, asked: _Asked, rotor: str) -> ControlChartRead:
    bench = asked.visible.benches[chart.bench_id].name
    points = [_point(point, asked) for point in chart.points]
    moved = next((each.started_at for each in points if each.session_id == chart.moved_at), None)
    return ControlChartRead(
        bench_id=chart.bench_id,
        bench=bench,
        rotor_id=chart.rotor_id,
        rotor=rotor,
        moved_at=moved,
        points=points,
        **_chart_in_words(points, moved, bench),
    )


def _point(point: ChartPoint, asked: _Asked) -> ChartPointRead:
    return ChartPointRead(
        session_id=point.session_id,
        started_at=datetime.fromtimestamp(point.started_at, UTC),
        off_pct=percent(point.off),
        sd_pct=100 * asked.rounded(point.limit),
        z=round(point.z, 1) if asked.fitted.is_coarse else point.z,
        verdict=point.verdict,
        trials=point.trials,
    )


def _chart_in_words(
    points: Sequence[ChartPointRead], moved: datetime | None, bench: str
) -> dict[str, str]:
    """Return the sentence on a chart: its gravest finding, the newest first."""
    newest_first = points[::-1]
    for verdict in ("act", "look"):
        found = next((each for each in newest_first if each.verdict == verdict), None)
        if found and (verdict == "act" or moved is None):
            return wording.statement(
                f"quality.chart_{verdict}",
                bench=bench,
                day=days.day(found.started_at),
                off=found.off_pct,
            )
    if moved is not None:
        return wording.statement("quality.chart_moved", bench=bench, day=days.day(moved))
    return wording.statement("quality.chart_fine", bench=bench, count=len(points))


# --- repeatability --------------------------------------------------------------------------


def _precision(asked: _Asked) -> list[PrecisionRead]:
    counted = asked.columns.only(~asked.fitted.fit.is_aside)
    names = ("log_power", "build_id", "bench_id", "session_id")
    found = precision_of(*(counted[name] for name in names))
    levels = (found.repeatability, found.intermediate, found.reproducibility)
    return [_level(name, level, asked) for name, level in zip(LEVELS, levels, strict=True)]


def _level(name: str, level: Level, asked: _Asked) -> PrecisionRead:
    sd, limit = level.standard_deviation, percent_limit(level)
    if sd is None or limit is None:
        words = wording.statement(f"quality.{name}_unknown")
    else:
        words = wording.statement(f"quality.{name}", limit=limit)
    return PrecisionRead.model_validate(
        words
        | {
            "level": name,
            "sd_pct": None if sd is None else asked.rounded(100 * sd),
            "limit_pct": None if limit is None else asked.rounded(limit),
            "degrees_of_freedom": level.degrees_of_freedom,
        }
    )


# --- what decides the order -----------------------------------------------------------------


def _influences(asked: _Asked) -> list[InfluenceRead]:
    shown = [
        build for build in asked.fitted.current.values()
        if asked.visible.is_shown(build, asked.fitted)
    ]  # fmt: skip
    columns = asked.columns
    found = bench_influences(columns.columns, asked.fitted.fit, shown, columns.age_weeks)
    return [_influence(each, asked) for each in found if asked.is_own(each.bench_id)]


def _influence(influence: BenchInfluence, asked: _Asked) -> InfluenceRead:
    bench = asked.visible.benches[influence.bench_id].name
    pairs = [_pair(each, asked) for each in influence.reversed[:MOST_REVERSED]]
    return InfluenceRead(
        bench_id=influence.bench_id,
        bench=bench,
        builds=influence.builds,
        largest_shift_pct=asked.rounded(percent(influence.largest_shift)),
        largest_shift_team=asked.team(influence.largest_shift_of),
        reversed=pairs,
        reversed_count=len(influence.reversed),
        only_link=influence.only_link,
        **_influence_in_words(influence, bench, pairs),
    )


def _influence_in_words(
    influence: BenchInfluence, bench: str, pairs: Sequence[PairChangeRead]
) -> dict[str, str]:
    if influence.only_link:
        return wording.statement("quality.only_link", bench=bench, count=influence.only_link)
    if not pairs:
        return wording.statement("quality.no_influence", bench=bench)
    surest = pairs[0]
    return wording.statement(
        "quality.reverses",
        bench=bench,
        a=surest.a_name,
        b=surest.b_name,
        sure=wording.share(surest.probability),
        then=wording.share(surest.probability_then),
        count=len(influence.reversed),
    )


def _interaction(db: Session, season: Season, asked: _Asked) -> InteractionRead:
    """Return the spread of builds over benches, and each pair of neighbours with twice as much."""
    fit, columns = asked.fitted.fit, asked.columns
    ranking = comparable_builds(db, asked.caller, season)
    nexts = [pair for group in ranking.groups for pair in pairwise(group)] if ranking else []
    other = OTHER_INTERACTION * fit.spread.interaction
    changes = pairs_with_interaction(columns.columns, fit, nexts, other, columns.age_weeks)
    key = "estimated" if fit.is_interaction_estimated else "assumed"
    spread, twice = (100 * asked.rounded(each) for each in (fit.spread.interaction, other))
    return InteractionRead(
        sd_pct=spread,
        is_estimated=fit.is_interaction_estimated,
        other_sd_pct=twice,
        pairs=[_pair(each, asked) for each in changes],
        **wording.statement(f"quality.interaction_{key}", spread=spread, twice=twice),
    )


def _pair(change: PairChange, asked: _Asked) -> PairChangeRead:
    digits = 2 if asked.fitted.is_coarse else 6
    return PairChangeRead(
        a=change.a,
        a_name=asked.team(change.a),
        b=change.b,
        b_name=asked.team(change.b),
        probability=round(change.before, digits),
        probability_then=round(change.after, digits),
    )
