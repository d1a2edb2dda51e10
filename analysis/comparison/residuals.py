"""Judge whether trials scatter about a fit as much as they are stated to."""

from dataclasses import dataclass

FITTING = (0.7, 1.3)  # [-], standard deviations of residuals with which the model fits


@dataclass(frozen=True, slots=True)
class ResidualCheck:
    """Scatter of residuals over their stated uncertainty: 1 if the model fits.

    Above 1.3, settings changed within a build, or mistakes remain in the trials.
    """

    standard_deviation: float
    trials: int

    @property
    def verdict(self) -> str:
        """Return `fine`, `too_wide` or `too_narrow`, by the limits of `FITTING`."""
        low, high = FITTING
        if low <= self.standard_deviation <= high:
            return "fine"
        return "too_wide" if self.standard_deviation > high else "too_narrow"
