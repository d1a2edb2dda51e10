"""Write tidy results as CSV, a workbook or Parquet, part by part; pandas and pyarrow on demand."""

import io
import json
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import IO, Any

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.reporting.results import Format
from api.services.core.safe_cells import protect
from api.services.reporting.results.columns import Column
from api.services.reporting.results.reading import Row
from api.services.reporting.workbooks import MEDIA_TYPE, write_workbook

MEDIA: dict[Format, str] = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": MEDIA_TYPE,
    "parquet": "application/vnd.apache.parquet",
}
#: The most rows of a workbook: one sheet holds a million, and writing them takes minutes.
MOST_SHEET_ROWS = 200_000
#: pandas reads this part of a Parquet file's metadata as the `attrs` of the frame.
PANDAS_ATTRIBUTES = "PANDAS_ATTRS"
CHUNK_BYTES = 1 << 16
MOMENT = "%Y-%m-%dT%H:%M:%SZ"
DTYPES = {"text": "str", "number": "float64", "whole": "Int64", "yes": "boolean",
          "moment": "datetime64[s, UTC]"}  # fmt: skip


def write_results(
    kind: Format, columns: Sequence[Column], row_parts: Iterable[list[Row]], title: str
) -> IO[bytes]:
    """Return an open temporary file with the rows, at its beginning."""
    out = tempfile.TemporaryFile()  # noqa: SIM115 - the answer closes it when it was sent
    writers: dict[Format, Callable[..., None]] = {
        "csv": _write_csv, "xlsx": _write_workbook, "parquet": _write_parquet,
    }  # fmt: skip
    try:
        writers[kind](out, columns, row_parts, title)
    except BaseException:
        out.close()
        raise
    out.seek(0)
    return out


def in_chunks(out: IO[bytes]) -> Iterator[bytes]:
    """Yield the bytes of a file, and close it."""
    with out:
        while chunk := out.read(CHUNK_BYTES):
            yield chunk


def frame_of(columns: Sequence[Column], rows: Sequence[Row]) -> Any:
    """Return rows as a data frame with the types of the columns."""
    import pandas as pd

    return pd.DataFrame(
        {
            column.name: pd.Series([row[column.name] for row in rows], dtype=DTYPES[column.kind])
            for column in columns
        }
    )


def units_of(columns: Sequence[Column]) -> dict[str, str]:
    """Return the unit of each column that has one."""
    return {column.name: column.unit for column in columns if column.unit}


def _write_csv(
    out: IO[bytes], columns: Sequence[Column], row_parts: Iterable[list[Row]], title: str
) -> None:
    text = io.TextIOWrapper(out, encoding="utf-8", newline="")
    frame_of(columns, []).to_csv(text, index=False, lineterminator="\r\n")
    answers = [column.name for column in columns if column.kind == "yes"]
    for rows in row_parts:
        frame = frame_of(columns, _safe(columns, rows))
        # R turns TRUE and FALSE into booleans by itself, as pandas and polars do, but not True.
        for name in answers:
            frame[name] = frame[name].map({True: "TRUE", False: "FALSE"})
        frame.to_csv(text, index=False, header=False, date_format=MOMENT, lineterminator="\r\n")
    text.flush()
    text.detach()


def _safe(columns: Sequence[Column], rows: Sequence[Row]) -> list[Row]:
    """Return rows whose texts no spreadsheet takes for a formula."""
    texts = [column.name for column in columns if column.kind == "text"]
    return [row | {name: protect(row[name]) for name in texts if row[name]} for row in rows]


def _write_parquet(
    out: IO[bytes], columns: Sequence[Column], row_parts: Iterable[list[Row]], title: str
) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    types = {"text": pa.string(), "number": pa.float64(), "whole": pa.int64(), "yes": pa.bool_(),
             "moment": pa.timestamp("ms", "UTC")}  # fmt: skip
    schema = pa.schema([
        pa.field(column.name, types[column.kind],
                 metadata={"unit": column.unit, "about": column.about})
        for column in columns
    ], metadata={PANDAS_ATTRIBUTES: json.dumps({"units": units_of(columns)})})  # fmt: skip
    with pq.ParquetWriter(out, schema, compression="zstd") as writer:
        for rows in row_parts:
            values = {each.name: [row[each.name] for row in rows] for each in columns}
            writer.write_table(pa.table(values, schema=schema))


def _write_workbook(
    out: IO[bytes], columns: Sequence[Column], row_parts: Iterable[list[Row]], title: str
) -> None:
    names = [column.name for column in columns]
    rows = ([row[name] for name in names] for row in _limited(row_parts))
    about = [(each.name, each.kind, each.unit, each.about) for each in columns]
    write_workbook(out, title, names, rows, [("name", "type", "unit", "meaning"), *about])


def _limited(row_parts: Iterable[list[Row]]) -> Iterator[Row]:
    """Yield rows; refuse more than a workbook should have."""
    count = 0
    for rows in row_parts:
        count += len(rows)
        if count > MOST_SHEET_ROWS:
            words = say("refused.many_results", most=MOST_SHEET_ROWS)
            raise Invalid(words, [FieldError("too_many_rows", words, pointer="/format")])
        yield from rows
