"""Every chart in a real browser: no text leaves the picture, and no two texts overlap."""

from datetime import UTC, datetime, timedelta
from itertools import combinations

import pytest

from api.services.reporting.charts import colours
from api.services.reporting.charts.axes import Axis, axis, days_axis, growth_axis, power_axis
from api.services.reporting.charts.chart import Chart, rows_chart
from api.services.reporting.charts.drawing import NARROW, WIDE, svg

NAMES = {
    "short": lambda at: f"T{at}",
    "long": lambda at: f"The Brackhollow Junior wind turbine group number {at}",
    "wide": lambda at: "WWWWWWWW MMMMMMMM " * 3 + str(at),
    "missing": lambda _: "",
    "other letters": lambda at: f"Łąka 風車 Ñandú {at}",
}
TOUCH = 0.6  # [px] that two boxes may share, since they are rounded
BOXES = """svg => { const out = svg.getBoundingClientRect();
  return [...svg.querySelectorAll("text")].filter(text => text.textContent).map(text => {
  const box = text.getBoundingClientRect();
  return [text.textContent, box.left - out.left, box.top - out.top, box.right - out.left,
          box.bottom - out.top, out.width, out.height]; }); }"""
START = datetime(2026, 3, 5, tzinfo=UTC)


def rows(name, count, values):
    spread = [values(at) for at in range(count)]
    ends = [end for value in spread for end in (0.8 * value, 1.25 * value)]
    chart = rows_chart("Teams", "d", [name(at) for at in range(count)], power_axis(ends, "mW"))
    for at, value in enumerate(spread):
        chart.span(at, 0.8 * value, 1.25 * value, at)
        chart.point(value, at, at)
    return chart


def season(name, count, values):
    when = [START + timedelta(days=2 * at) for at in range(count)]
    spread = [values(at) for at in range(count)]
    chart = Chart("Season", "d", days_axis(when), power_axis(spread, "mW"))
    for at, value in enumerate(spread):
        chart.upright(when[at].timestamp(), f"{at}: {name(at)}", str(at))
        chart.whisker(when[at].timestamp(), 0.8 * value, 1.25 * value, at)
        chart.point(when[at].timestamp(), value, at)
    return chart


def lines(name, count, values):
    teams = min(count, 6)
    every = [values(at) for at in range(2 * teams)]
    chart = Chart("Growth", "d", Axis(0, 1, "", ()), growth_axis(every, "mW"))
    for at in range(teams):
        chart.line([(0, every[2 * at]), (1, every[2 * at + 1])], at)
        chart.end_label(every[2 * at + 1], name(at), at)
    return chart


CHARTS = {"rows": rows, "season": season, "lines": lines}
VALUES = {
    "alike": lambda _: 60.0,
    "spread": lambda at: 20.0 + 7.3 * (at * 37 % 101),
    "extreme": lambda at: 10.0 ** (at * 5 % 13 - 6),
}


@pytest.fixture(scope="module")
def blank(browser):
    page = browser.new_page(viewport={"width": 1000, "height": 800})
    page.set_content(
        f"<!doctype html><style>{colours.STYLE} svg {{ display: block }}</style><body>"
    )
    yield page
    page.close()


def faults_of(page, chart, width):
    """Return the texts that leave the picture or overlap another one."""
    page.evaluate(
        "([text, width]) => { document.body.innerHTML = text; "
        "document.querySelector('svg').style.width = width + 'px'; }",
        [svg(chart, width), width],
    )
    boxes = page.eval_on_selector("svg", BOXES)
    outside = [
        text for text, left, top, right, bottom, wide, high in boxes
        if left < -TOUCH or top < -TOUCH or right > wide + TOUCH or bottom > high + TOUCH
    ]  # fmt: skip
    overlapping = [
        (one[0], other[0]) for one, other in combinations(boxes, 2)
        if min(one[3], other[3]) - max(one[1], other[1]) > TOUCH
        and min(one[4], other[4]) - max(one[2], other[2]) > 3  # a line's height has empty space
    ]  # fmt: skip
    return outside, overlapping


@pytest.mark.parametrize("width", [NARROW, WIDE])
@pytest.mark.parametrize("kind", CHARTS)
def test_texts_neither_overlap_nor_leave_the_picture(blank, kind, width):
    for count in (1, 2, 24, 200):
        for named, name in NAMES.items():
            for drawn, values in VALUES.items():
                faults = faults_of(blank, CHARTS[kind](name, count, values), width)
                assert faults == ([], []), (count, named, drawn)


@pytest.mark.parametrize("width", [NARROW, WIDE])
def test_text_is_at_least_twelve_pixels_high(blank, width):
    blank.evaluate("text => { document.body.innerHTML = text; }",
                   svg(rows(NAMES["short"], 3, VALUES["alike"]), width))  # fmt: skip
    sizes = blank.eval_on_selector_all(
        "svg text", "all => all.map(text => parseFloat(getComputedStyle(text).fontSize))"
    )
    assert min(sizes) >= 12


def test_a_check_of_boxes_sees_an_overlap(blank):
    chart = Chart("t", "d", axis([0, 1], "x"), axis([0, 1], "y"))
    chart.end_label(0.5, "one", 0)
    drawn = svg(chart).replace(
        "</svg>", '<text x="300" y="100">over</text><text x="310" y="102">lap</text></svg>'
    )
    blank.evaluate("text => { document.body.innerHTML = text; }", drawn)
    boxes = blank.eval_on_selector("svg", BOXES)
    over, lap = (next(box for box in boxes if box[0] == text) for text in ("over", "lap"))
    assert min(over[3], lap[3]) > max(over[1], lap[1])
