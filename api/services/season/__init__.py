"""A season's answers: reports, comparisons, progress, plans."""
