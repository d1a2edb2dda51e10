"""What a service concludes: reports, comparisons, and all results as a table."""

from typing import Any, Literal

from .calls import Calls, Thing
from .results import FileFormat, Results

ReportKind = Literal["season", "organisation", "team", "event", "equipment"]
ReportFormat = Literal["json", "csv", "xlsx", "html", "pdf"]
REPORTS: dict[ReportKind, str] = {
    "season": "/v1/seasons/{id}/report",
    "organisation": "/v1/organisations/{id}/report",
    "team": "/v1/teams/{id}/report",
    "event": "/v1/events/{id}/sheet",
    "equipment": "/v1/equipment-list",
}


class Reports(Calls):
    """The reports of a service."""

    def report(self, kind: ReportKind, thing_id: str = "", **filters: Any) -> Thing:
        """Return the report of a season, school ("organisation"), team or event, by its id.

        "equipment" is the list of all equipment, and needs no id. A school's report takes
        `season_id`; a season's can be narrowed by `organisation_id` and `team_id`.

        Examples
        --------
        >>> report = gustbook.report("season", gustbook.season()["id"])
        >>> len(report["organisations"]), report["comparison"]["places"][0]["place"]
        (6, 1)
        """
        report: Thing = self.get(REPORTS[kind].format(id=thing_id), **filters)
        return report

    def report_file(
        self, kind: ReportKind, thing_id: str, file_format: ReportFormat, **filters: Any
    ) -> bytes:
        """Return a report (see `report`) as a file, for which there are five formats.

        "html" and "pdf" are to print, "xlsx" is for a spreadsheet, "csv" and "json" for programs.

        Examples
        --------
        >>> team = gustbook.find("teams", "Larch")
        >>> gustbook.report_file("team", team["id"], "pdf")[:5]
        b'%PDF-'
        """
        parameters = {"format": file_format} | filters
        path = REPORTS[kind].format(id=thing_id)
        return self.request("GET", path, params=parameters).content

    def comparison(self, season_id: str, **filters: Any) -> Thing:
        """Return how the builds of all schools compare, with intervals, and what is missing for it.

        `builds` has the comparable power of each build (`fair_power_w`, with the 95 % interval
        `interval_w`, in watts), `pairs` says who is ahead of whom and how surely.

        Examples
        --------
        >>> comparison = gustbook.comparison(gustbook.season()["id"])
        >>> sum(build["current"] for build in comparison["builds"])
        24
        """
        comparison: Thing = self.get(f"/v1/seasons/{season_id}/comparison", **filters)
        return comparison

    def progress(self, team_id: str) -> Thing:
        """Return what a team's changes did: builds, trend, pitch curve, and what to test next.

        Examples
        --------
        >>> progress = gustbook.progress(gustbook.find("teams", "Larch")["id"])
        >>> sorted(progress["pitch"][0].keys() & {"best_pitch_deg", "points", "interval_deg"})
        ['best_pitch_deg', 'interval_deg', 'points']
        """
        progress: Thing = self.get(f"/v1/teams/{team_id}/progress")
        return progress

    def results(
        self,
        rows: Literal["trials", "runs"] = "trials",
        file_format: FileFormat = "parquet",
        **filters: Any,
    ) -> Results:
        """Return all facts and figures as a table, one row for each trial or each run.

        Filters are those of `trials`. A trial counts for the season if its `left_out` is missing.
        Parquet has the types and units of all columns; in CSV a name that looks like a number
        becomes one.

        Examples
        --------
        >>> frame = gustbook.results(kind="record").to_frame()
        >>> counted = frame[frame["left_out"].isna()]
        >>> bool((counted["interval_low_w"] < counted["normalised_power_w"]).all())
        True
        """
        parameters = {"rows": rows, "format": file_format} | filters
        content = self.request("GET", "/v1/results", params=parameters).content
        return Results(content, file_format)
