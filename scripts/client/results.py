"""Results as a data frame of pandas or polars, which are imported only when one is asked for."""

import io
import json
from collections.abc import Callable
from functools import cached_property
from importlib import import_module
from typing import Any, Literal

from .errors import WrongUse

Library = Literal["pandas", "polars"]
FileFormat = Literal["parquet", "csv"]
#: Where pandas keeps the `attrs` of a frame in a Parquet file; the service writes the units there.
ATTRIBUTES = "PANDAS_ATTRS"
MOMENTS = ("session_started_at", "created_at", "updated_at")


class Results:
    """A table of results, as the service gave it.

    `content` is the file: write it to a disk for R, DuckDB or any other program.
    """

    def __init__(self, content: bytes, file_format: FileFormat = "parquet") -> None:
        self.content, self.file_format = content, file_format

    def to_frame(self, library: Library = "pandas") -> Any:
        """Return the results as a frame of pandas (the default) or polars.

        Numbers are numbers, moments are in UTC, yes and no are booleans, and what is missing is
        missing. A frame of pandas from Parquet has the unit of each column in
        `frame.attrs["units"]`.

        Raises
        ------
        WrongUse
            If the library is not installed.

        Examples
        --------
        >>> frame = gustbook.results(rows="runs").to_frame()
        >>> frame["run_voltage_v"].dtype, frame.attrs["units"]["run_voltage_v"]
        (dtype('float64'), 'V')
        >>> gustbook.results(file_format="csv").to_frame("polars")["created_at"].dtype.time_zone
        'UTC'
        """
        return _READERS[library, self.file_format](io.BytesIO(self.content))

    @cached_property
    def units(self) -> dict[str, str]:
        """The unit of each column that has one, such as ``{"power_w": "W"}``; for Parquet only.

        Examples
        --------
        >>> gustbook.results().units["pressure_hpa"]
        'hPa'
        """
        if self.file_format != "parquet":
            raise WrongUse("only a Parquet file has its units in it: ask for that format")
        units: dict[str, str] = json.loads(_attributes(io.BytesIO(self.content)))["units"]
        return units


def _imported(module: str) -> Any:
    try:
        return import_module(module)
    except ImportError as error:
        needed = {"polars": "polars"}.get(module, "pandas pyarrow")
        raise WrongUse(f"{module} is not installed: python -m pip install {needed}") from error


def _attributes(file: io.BytesIO) -> str | bytes:
    """Return the attributes in the metadata of a Parquet file, read by what is installed."""
    try:
        parquet = _imported("pyarrow.parquet")
    except WrongUse:
        return str(_imported("polars").read_parquet_metadata(file)[ATTRIBUTES])
    return bytes(parquet.read_schema(file).metadata[ATTRIBUTES.encode()])


def _pandas_of_parquet(file: io.BytesIO) -> Any:
    _imported("pyarrow.parquet")  # pandas reads Parquet with it, and says so in many words
    return _imported("pandas").read_parquet(file)


def _pandas_of_csv(file: io.BytesIO) -> Any:
    return _imported("pandas").read_csv(file, parse_dates=list(MOMENTS))


def _polars_of_parquet(file: io.BytesIO) -> Any:
    return _imported("polars").read_parquet(file)


def _polars_of_csv(file: io.BytesIO) -> Any:
    # Looks at all rows before it decides on a type: the first thousand may have whole numbers only.
    return _imported("polars").read_csv(file, try_parse_dates=True, infer_schema_length=None)


_READERS: dict[tuple[Library, FileFormat], Callable[[io.BytesIO], Any]] = {
    ("pandas", "parquet"): _pandas_of_parquet,
    ("pandas", "csv"): _pandas_of_csv,
    ("polars", "parquet"): _polars_of_parquet,
    ("polars", "csv"): _polars_of_csv,
}
