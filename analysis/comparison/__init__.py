"""Builds of several schools on one scale: the fit, its pairs and benches, and the next step."""

from analysis.comparison.fit import SeasonFit, fit_season

__all__ = ["SeasonFit", "fit_season"]
