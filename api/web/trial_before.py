"""Say whether a trial is better or worse than the one before it at the same bench."""

import math

from sqlmodel import Session, col, select

from api.messages import say
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial, TrialRead
from api.services.core.scope import Caller
from api.services.measurements import flags
from api.services.reporting.documents.words import percent
from api.services.trials import stored_trials

COVERAGE = 2.0  # k, of the difference of two trials


def than_before(
    db: Session, caller: Caller, trial: TrialRead, build: Build, session: BenchSession
) -> str:
    """Return how a counted record trial differs from the turbine's one before; empty without one.

    Both were run at one bench, so that what all of its results share drops out.
    """
    if trial.kind != "record" or trial.state != flags.ACCEPTED:
        return ""
    builds = select(Build.id).where(col(Build.turbine_id) == build.turbine_id)
    sessions = select(BenchSession.id).where(col(BenchSession.bench_id) == session.bench_id)
    earlier = stored_trials.newest(
        db,
        caller,
        col(Trial.build_id).in_(builds),
        col(Trial.session_id).in_(sessions),
        col(Trial.kind) == "record",
        col(Trial.state) == flags.ACCEPTED,
        col(Trial.id) < trial.id,
        most=1,
    )
    return _compared(trial, earlier[0]) if earlier else ""


def _compared(trial: TrialRead, before: TrialRead) -> str:
    now_w, then_w = (each.result.normalised_power_w for each in (trial, before))
    u_now, u_then = (each.result.u_own for each in (trial, before))
    if not now_w or not then_w or u_now is None or u_then is None:
        return ""
    ratio, u_ratio = math.log(now_w / then_w), math.hypot(u_now, u_then)
    change = percent(100 * math.expm1(ratio))
    least = 100 * math.expm1(COVERAGE * u_ratio)
    is_clear = abs(ratio) > COVERAGE * u_ratio
    key = "like" if not is_clear else "more_than" if ratio > 0 else "less_than"
    return say(f"trial.{key}_before", change=change, least=f"{least:.0f}")
