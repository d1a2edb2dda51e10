"""Say whether the reference rotor itself changed over a season."""

from analysis.numeric.resolution import at_resolution
from analysis.uncertainty import percent
from api.models.season.quality import DriftRead
from api.services.core import wording
from api.services.season.fit import Fitted


def read_drift(fitted: Fitted) -> DriftRead | None:
    """Return the drift of a season's reference rotors in words; None if too little is known."""
    drift = fitted.drift
    if drift is None:
        return None
    slope, low, high = (percent(each) for each in (drift.per_week, *drift.interval))
    if fitted.is_coarse:
        u = (high - low) / 4
        slope, low, high = (at_resolution(each, u) for each in (slope, low, high))
    certain = "falls" if slope < 0 else "rises"
    key = f"quality.drift_{certain if drift.is_certain else 'none'}"
    return DriftRead(
        pct_per_week=slope,
        interval_pct=(low, high),
        weeks=drift.weeks,
        benches=drift.benches,
        is_certain=drift.is_certain,
        **wording.statement(
            key, slope=abs(slope), low=low, high=high, weeks=drift.weeks, benches=drift.benches
        ),
    )
