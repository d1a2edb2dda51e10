"""The client: all calls that a season needs."""

from .lists import Lists
from .reports import Reports
from .submissions import Submissions


class Gustbook(Lists, Submissions, Reports):
    """A Gustbook service, as far as one access key may see it.

    What the service stores comes back as dictionaries with the fields of its API (`/reference` on
    the service explains each); a number's unit is the end of its name, such as `power_w`. What has
    no method here is reached with `get`, `post` and `each`. Every error is a `GustbookError`.

    Examples
    --------
    >>> season = gustbook.season()
    >>> season["reference_wind_speed_m_s"], gustbook.count("/v1/teams", season_id=season["id"])
    (4.0, 24)
    """
