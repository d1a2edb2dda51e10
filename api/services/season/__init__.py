"""Compute reports, comparisons, progress and plans of a season."""
