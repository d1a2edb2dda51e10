"""Build workbooks as people have them."""

import io
from datetime import datetime

import openpyxl

HEADER = ["team", "build", "bench", "session_started_at", "client_ref", "load_ohm",
          "load_connected", "voltage_v", "wind_speed_m_s", "adult_present"]  # fmt: skip


def workbook(*rows, header=HEADER):
    """Return a workbook of one sheet as bytes."""
    book = openpyxl.Workbook()
    book.active.title = "Trials"
    book.active.append(header)
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def trial(ref, volts, **changed):
    row = {"team": "Larch one", "build": 1, "bench": "Larch hall",
           "session_started_at": datetime(2026, 3, 19, 10, 0), "client_ref": ref, "load_ohm": 30.1,
           "load_connected": True, "voltage_v": volts, "wind_speed_m_s": 4.1,
           "adult_present": "yes"}  # fmt: skip
    return list((row | changed).values())
