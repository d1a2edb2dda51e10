"""Work with a Gustbook service from a script or a notebook.

A season in a few lines, with the demo that `demo.py` serves. The address and the access key are in
the variables GUSTBOOK_URL and GUSTBOOK_KEY:

>>> from client import Fault, Gustbook
>>> gustbook = Gustbook()
>>> season = gustbook.season()
>>> tried = gustbook.submit_file("march.csv", dry_run=True)  # stores nothing
>>> tried["trials"]
{'created': 0, 'unchanged': 66, 'error': 2}
>>> wrong = [error for row in tried["rows"] for error in row["errors"]]
>>> print(Fault.of(wrong[0]))
row 114, column voltage_v: '1324' must be between -60 and 60 V. Perhaps another unit was meant:
1324 mV = 1.324 V (voltage_mv).
>>> stored = gustbook.submit_file("march.csv", partial=True)  # only the good rows
>>> flag = next(gustbook.flags(season_id=season["id"], severity="hold", state="open"))
>>> print(flag["message"])
Your readings disagree: 0.016 V beside 0.166 V and 0.163 V. Is a decimal point missing?
0.16 V would fit.
>>> gustbook.answer(flag, "accept_fix")["state"]
'corrected'
>>> frame = gustbook.results(season_id=season["id"]).to_frame()
>>> counted = frame[frame["left_out"].isna()]
>>> round(1000 * counted.groupby("team")["normalised_power_w"].median()["Larch"])  # in mW
29
>>> gustbook.close()

It needs Python 3.11 or newer and `httpx`; data frames need pandas with pyarrow, or polars. To use
it elsewhere, copy this folder next to the script or notebook. Every error is a `GustbookError`, in
words. A module uses only those above it:

    faults, retries, cache        one thing that is wrong; when to try again; what has not changed
    errors                        what can go wrong
    access                        the address of the service, and the access key
    connection, calls             any request; JSON and lists
    results                       results as data frames
    lists, submissions, reports   what a season needs
    gustbook                      all of this as one client
    command_line                  what only scripts need
"""

from .errors import GustbookError, KeyNotAccepted, NotFound, Refused, Unavailable, WrongUse
from .faults import Fault
from .gustbook import Gustbook
from .reports import ReportFormat, ReportKind
from .results import Results
from .submissions import Answer

__all__ = [
    "Answer",
    "Fault",
    "Gustbook",
    "GustbookError",
    "KeyNotAccepted",
    "NotFound",
    "Refused",
    "ReportFormat",
    "ReportKind",
    "Results",
    "Unavailable",
    "WrongUse",
]
