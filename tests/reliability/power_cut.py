"""Simulate a machine that stops in the middle of its work."""


class PowerFailure(BaseException):
    """The machine stops here: nothing that handles errors may handle this."""
