"""The style guide: every part of a page in its states, for people who build pages.

It is there only if the setting `styleguide` is on, as in the demo.
"""

from datetime import UTC, datetime, timedelta

from fastapi import APIRouter
from starlette.responses import Response

from api.errors import NotFound
from api.messages import say
from api.services.reporting.charts.axes import days_axis, growth_axis, power_axis
from api.services.reporting.charts.chart import Chart, rows_chart
from api.services.reporting.documents.blocks import Block, Heading, Items, Plot, Table, Text
from api.web import rendering
from api.web.forms import Field, Filled
from api.web.glance import Tile
from api.web.visitors import Visited

router = APIRouter()
COLOURS = ("paper", "surface", "soft", "ink", "quiet", "line", "accent", "accent-soft", "ask",
           "ask-soft", "good", "good-soft")  # fmt: skip
TEAMS = ("Kestrel", "Sycamore", "The long-named team of the lower school's second year")
FIELDS = (
    Field("voltage_1", takes_units=True, required=True),
    Field("pitch_deg"),
    Field("note", "lines"),
    Field("load_connected", "tick"),
)


@router.get("/styleguide")
def styleguide(visited: Visited) -> Response:
    """Show every part of a page."""
    if not visited.request.app.state.settings.styleguide:
        raise NotFound(say("refused.no_styleguide"))
    wrong = Filled(FIELDS, {"voltage_1": "1,3 furlongs"}, {"voltage_1": say("form.needed")})
    return rendering.show(
        "styleguide.html", visited, colours=COLOURS, tiles=_tiles(), wrong=wrong,
        blocks_shown=_blocks(),
    )  # fmt: skip


def _tiles() -> list[Tile]:
    """Return a figure in each of its tones."""
    ready = say("glance.of", part=21, all=24)
    return [
        Tile("19", say("glance.days_to", count=19, name=TEAMS[0]), "#tiles"),
        Tile("8", say("glance.questions", count=8), "#tiles", "ask"),
        Tile(ready, say("glance.ready"), "#tiles", "good"),
        Tile("188 mW", say("compare.power")),
    ]


def _blocks() -> list[Block]:
    rows = [(name, f"{60 + 20 * at} mW") for at, name in enumerate(TEAMS)]
    columns = (say("report_column.team"), say("plot.power"))
    about = say("styleguide.about")
    return [
        Text(about), Text(about, "callout"), Text(about, "quiet"), Text(rows[-1][1], "number"),
        Items([about, about]), Heading(say("styleguide.table")), Table(columns, rows, about),
        Heading(say("styleguide.charts")), Plot(_intervals(), Table(columns, rows)),
        Plot(_lines(), Table(columns, rows)),
    ]  # fmt: skip


def _intervals() -> Chart:
    """Return a chart of rows with their intervals."""
    chart = rows_chart(
        say("compare.power"), say("compare.power_how"), TEAMS, power_axis([40, 130], "mW")
    )
    for row in range(len(TEAMS)):
        middle = 60.0 + 20 * row
        chart.span(row, 0.8 * middle, 1.2 * middle, row)
        chart.point(middle, row, row, f"{TEAMS[row]}: {middle:.0f} mW")
    return chart


def _lines() -> Chart:
    """Return a chart of lines over time, named at their ends."""
    start = datetime(2026, 3, 5, tzinfo=UTC)
    when = [start + timedelta(weeks=week) for week in range(6)]
    chart = Chart(
        say("compare.growth"),
        say("compare.growth_how"),
        days_axis(when),
        growth_axis([5.0, 320.0], "mW"),
    )
    for series, name in enumerate(TEAMS):
        powers = [5.0 * (series + 1) * 1.8**week for week in range(6)]
        moments = [each.timestamp() for each in when]
        chart.line(list(zip(moments, powers, strict=True)), series)
        for moment, power in zip(moments, powers, strict=True):
            chart.point(moment, power, series, f"{name}: {power:.0f} mW")
        chart.end_label(powers[-1], name, series)
    chart.upright(when[2].timestamp(), "2: pitch and load", "2")
    return chart
