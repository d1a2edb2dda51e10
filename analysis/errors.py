"""What a calculation refuses, and why.

* AnalysisError          anything this package refuses
  - InvalidInput         a number that no measurement can give
  - TooFewTrials         sound numbers, but not enough of them to answer
"""


class AnalysisError(ValueError):
    """A calculation that cannot be done with these numbers."""


class InvalidInput(AnalysisError):
    """A number that no measurement can give, such as a negative length."""


class TooFewTrials(AnalysisError):
    """Sound numbers, but not enough of them to answer the question."""
