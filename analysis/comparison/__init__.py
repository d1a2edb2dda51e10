"""Compare builds of several schools: the fit of a season, pairs, bench biases, and planning."""

from analysis.comparison.fit import SeasonFit, fit_season

__all__ = ["SeasonFit", "fit_season"]
