"""What a service has: seasons, schools, teams … trials and questions, each by its filters.

Every list also takes what `Calls.each` says: `sort`, `fields` and `expand`.
"""

from collections.abc import Iterator
from typing import Any

from .calls import Calls, Thing
from .errors import NotFound, WrongUse


class Lists(Calls):
    """The lists of a service, which are read page by page as they are needed."""

    def season(self, name: str | None = None) -> Thing:
        """Return the season with this name or id; without one, the season that is running.

        If none is running today, it is the one with the newest trial.

        Raises
        ------
        NotFound
            If there is no such season; it lists those that there are.

        Examples
        --------
        >>> season = gustbook.season()
        >>> gustbook.season(season["name"])["id"] == season["id"]
        True
        """
        if name is None:
            current: Thing = self.get("/v1/seasons/current")
            return current
        seasons = list(self.seasons())
        for season in seasons:
            if name == season["id"] or same_name(name, season["name"]):
                return season
        raise NotFound(f"no season {name}; there are: {_names(seasons)}")

    def find(self, collection: str, name: str | None = None, **filters: Any) -> Thing:
        """Return the thing of a collection with this name; without one, the newest.

        Raises
        ------
        NotFound
            If there is none; it lists those that there are.
        WrongUse
            If several have this name.

        Examples
        --------
        >>> gustbook.find("teams", "larch")["name"]
        'Larch'
        """
        things = list(self.each(f"/v1/{collection}", **filters))
        matching = [each for each in things if name is None or same_name(name, each["name"])]
        if not matching:
            raise NotFound(f"no such name in {collection}; there are: {_names(things)}")
        if name is not None and len(matching) > 1:
            several = f"{name} is the name of several in {collection}"
            raise WrongUse(f"{several}; name the organisation too")
        return matching[-1]

    def seasons(self, **filters: Any) -> Iterator[Thing]:
        """Yield the seasons, oldest first."""
        return self.each("/v1/seasons", **filters)

    def organisations(self, **filters: Any) -> Iterator[Thing]:
        """Yield the schools and clubs.

        >>> [school["name"] for school in gustbook.organisations(sort="name")][:2]
        ['Brackhollow Junior', 'Osierby Middle']
        """
        return self.each("/v1/organisations", **filters)

    def teams(self, **filters: Any) -> Iterator[Thing]:
        """Yield the teams; filters are `season_id`, `organisation_id` and `name`."""
        return self.each("/v1/teams", **filters)

    def turbines(self, **filters: Any) -> Iterator[Thing]:
        """Yield the turbines; filters are `team_id` and `organisation_id`."""
        return self.each("/v1/turbines", **filters)

    def builds(self, **filters: Any) -> Iterator[Thing]:
        """Yield the builds of turbines; filters are `turbine_id` and `number`."""
        return self.each("/v1/builds", **filters)

    def benches(self, **filters: Any) -> Iterator[Thing]:
        """Yield the benches; filters are `organisation_id` and `name`."""
        return self.each("/v1/benches", **filters)

    def sessions(self, **filters: Any) -> Iterator[Thing]:
        """Yield the sessions; filters are `season_id`, `bench_id` and `organisation_id`."""
        return self.each("/v1/sessions", **filters)

    def events(self, **filters: Any) -> Iterator[Thing]:
        """Yield the events; the filter is `season_id`."""
        return self.each("/v1/events", **filters)

    def trials(self, **filters: Any) -> Iterator[Thing]:
        """Yield the trials with their runs, results and questions, oldest first.

        Filters are `season_id`, `organisation_id`, `team_id`, `turbine_id`, `build_id`,
        `bench_id`, `session_id`, `event_id`, `kind`, `state` ("accepted", "held" or "withdrawn"),
        `client_ref`, `from_day`, `to_day` and `updated_since`.

        Examples
        --------
        >>> team = gustbook.find("teams", "Larch")
        >>> trial = next(gustbook.trials(team_id=team["id"], kind="record"))
        >>> low_w, high_w = trial["result"]["interval_w"]
        >>> low_w < trial["result"]["normalised_power_w"] < high_w
        True
        """
        return self.each("/v1/trials", **filters)

    def flags(self, **filters: Any) -> Iterator[Thing]:
        """Yield the questions of the data checks, oldest first.

        A trial with an open question of severity "hold" is not counted until it is answered.
        Filters are `season_id`, `team_id`, `trial_id`, `session_id`, `organisation_id`, `rule`,
        `severity` ("hold" or "warn") and `state` ("open", "corrected", "confirmed", "withdrawn").

        Examples
        --------
        >>> flag = next(gustbook.flags(severity="hold", state="open"))
        >>> sorted(flag.keys() & {"about", "message", "advice", "proposed_fix"})
        ['about', 'advice', 'message', 'proposed_fix']
        """
        return self.each("/v1/flags", **filters)


def same_name(one: str, other: str) -> bool:
    """Compare two names, ignoring case and extra spaces.

    >>> same_name("larch  SCHOOL", "Larch school")
    True
    """
    return " ".join(one.casefold().split()) == " ".join(other.casefold().split())


def _names(things: list[Thing]) -> str:
    return ", ".join(sorted(each["name"] for each in things)) or "none yet"
