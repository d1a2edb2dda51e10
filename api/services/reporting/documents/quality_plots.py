"""Draw the plots of measurement: control charts and uncertainty budgets."""

from api.messages import say
from api.models.season.quality import ControlChartRead
from api.models.trials.budget import BudgetTermRead, UncertaintyBudget
from api.services.reporting.charts.axes import axis, days_axis
from api.services.reporting.charts.chart import Chart, rows_chart
from api.services.reporting.documents.blocks import Plot, Table
from api.services.reporting.documents.words import day, percent

SERIES = {"fine": 0, "look": 5, "act": 1}  # colours and shapes of points
LIMITS = (-3, -2, 0, 2, 3)  # standard deviations


def control_chart(chart: ControlChartRead) -> Plot:
    """Return the sessions of a reference rotor over time, with warning and action limits."""
    points = chart.points
    sd = max(point.sd_pct for point in points)
    reach = [3.4 * sd, *(abs(point.off_pct) for point in points)]
    picture = Chart(
        say("quality.chart_title", rotor=chart.rotor, bench=chart.bench),
        say("quality.chart_lines"),
        days_axis([point.started_at for point in points]),
        axis([-max(reach), max(reach)], say("quality.chart_axis")),
    )
    ends = picture.x.low, picture.x.high
    for times in LIMITS:
        picture.line([(x, times * sd) for x in ends], series=0 if times == 0 else 4,
                     is_dashed=abs(times) == 2)  # fmt: skip
    at = [point.started_at.timestamp() for point in points]
    picture.line([(x, point.off_pct) for x, point in zip(at, points, strict=True)])
    for x, point in zip(at, points, strict=True):
        words = f"{day(point.started_at)}: {percent(point.off_pct)}"
        picture.point(x, point.off_pct, SERIES[point.verdict], words)
    rows = [
        (
            day(point.started_at),
            percent(point.off_pct),
            say("report_words.percent", value=f"± {3 * point.sd_pct:.0f}"),
            say(f"report_verdict.{point.verdict}"),
        )
        for point in points
    ]
    columns = (
        say("plot.session"),
        say("quality.chart_off"),
        say("quality.chart_limit"),
        say("plot.bench_verdict"),
    )
    return Plot(picture, Table(columns, rows))


def budget(terms: UncertaintyBudget) -> Plot:
    """Return the terms of a trial's uncertainty as bars, the largest first."""
    shown = terms.terms
    largest = max(term.u_pct for term in shown)
    chart = rows_chart(
        say("budget.title"),
        say("budget.how"),
        [term.name for term in shown],
        axis([0.0, largest], say("budget.axis"), from_zero=True),
    )
    for row, term in enumerate(shown):
        chart.bar(row, term.u_pct, is_open=term.part == "bench")
    return Plot(chart, Table(_columns(), [_row(term) for term in shown]))


def _columns() -> tuple[str, ...]:
    return (
        say("budget.term"),
        say("budget.input"),
        say("budget.sensitivity"),
        say("budget.u_power"),
        say("budget.share"),
        say("budget.part"),
    )


def _row(term: BudgetTermRead) -> tuple[str, ...]:
    return (
        term.name,
        say("budget.of_exponent", value=term.u_input)
        if term.term.endswith("exponent")
        else say("budget.of_value", value=100 * term.u_input),
        say("budget.times", value=term.sensitivity),
        say("budget.of_value", value=term.u_pct),
        say("report_words.percent", value=f"{term.share_pct:.0f}"),
        say(f"budget.part_{term.part}"),
    )
