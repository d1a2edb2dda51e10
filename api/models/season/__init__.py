"""Shapes of a season's answers: reports, comparisons, progress, plans."""
