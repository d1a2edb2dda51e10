"""Define the errors that calculations raise.

* AnalysisError          base class of all errors of this package
  - InvalidInput         a number that no measurement can give
  - TooFewTrials         valid numbers, but too few to answer the question
"""


class AnalysisError(ValueError):
    """A calculation that cannot be done with these numbers."""


class InvalidInput(AnalysisError):
    """A number that no measurement can give, such as a negative length."""


class TooFewTrials(AnalysisError):
    """Valid numbers, but too few to answer the question."""
