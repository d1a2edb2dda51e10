"""The template file for trials."""

import csv
import io

from api.messages import say
from api.services.core.safe_cells import BYTE_ORDER_MARK
from api.services.imports.headers import NUMBER_COLUMNS, TEMPLATE_COLUMNS
from api.services.imports.sheet import DELIMITERS

EXAMPLES = (
    {
        "organisation": "Quillmere Lower",
        "team": "Larch",
        "turbine": "Larch one",
        "build": "2",
        "bench": "Hall fan, setting 2",
        "session_started_at": "2026-03-05 14:30",
        "kind": "record",
        "client_ref": "example-1",
        "run": "1",
        "pitch_deg": "12.0",
        "load_ohm": "30.1",
        "load_connected": "yes",
        "voltage_v": "1.20",
        "wind_speed_m_s": "4.2",
        "meter_range_v": "2.0",
        "air_temperature_c": "22.0",
        "pressure_hpa": "1003.0",
        "relative_humidity_pct": "45.0",
        "warm_up_min": "6.0",
        "adult_present": "yes",
        "duration_s": "30.0",
    },
    {"client_ref": "example-1", "run": "2", "voltage_v": "1.19"},
)


def trials_template(delimiter: str, decimal: str) -> str:
    """Return the header and two example rows, which an import ignores."""
    sign = next(sign for sign, name in DELIMITERS.items() if name == delimiter)
    out = io.StringIO()
    writer = csv.DictWriter(out, TEMPLATE_COLUMNS, delimiter=sign, lineterminator="\r\n")
    writer.writeheader()
    first = EXAMPLES[0] | {"note": say("import_template.note")}
    for row in (first, first | EXAMPLES[1]):
        writer.writerow({name: _written(name, cell, decimal) for name, cell in row.items()})
    return BYTE_ORDER_MARK + out.getvalue()


def _written(name: str, cell: str, decimal: str) -> str:
    return cell.replace(".", ",") if decimal == "comma" and name in NUMBER_COLUMNS else cell
