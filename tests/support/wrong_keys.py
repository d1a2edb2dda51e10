"""Build keys that are not valid."""

from api.services.access.keys import _check


def wrong(key):
    """Return a well-formed key of the same id with another secret."""
    public, secret = key.split("_")[1], "A" * 43
    return f"gust_{public}_{secret}{_check(public + secret)}"
