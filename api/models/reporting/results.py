"""Which results to give, one row for each trial or run, and in which format."""

from typing import Annotated, Literal

from pydantic import Field

from api.models.trials.trial_queries import TrialFilters

Rows = Literal["trials", "runs"]
Format = Literal["csv", "xlsx", "parquet"]


class ResultsQuery(TrialFilters):
    """Which results to give; without a filter all that the key may see."""

    rows: Annotated[Rows, Field(description="One row for each trial, or for each run.")] = "trials"
    format: Annotated[
        Format,
        Field(description="csv, xlsx (with a sheet that explains the columns) or parquet."),
    ] = "csv"
