"""Charts: axes hold their values, marks are where axes say, series differ in shape or colour."""

import re
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta

import pytest

from api.services.reporting.charts import colours
from api.services.reporting.charts.axes import (
    Axis,
    axis,
    days_axis,
    growth_axis,
    power_axis,
    values_axis,
)
from api.services.reporting.charts.chart import Chart, rows_chart
from api.services.reporting.charts.drawing import NARROW, WIDE, svg
from api.services.reporting.charts.lettering import shortened, width_of

SVG = "{http://www.w3.org/2000/svg}"


def contrast(one, other):
    """Return the contrast of two colours by WCAG 2.2, relative luminance after sRGB."""

    def luminance(colour):
        shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


class TestAxes:
    @pytest.mark.parametrize("values", [[0.2, 9.3], [-3.0, 4.0], [5.0], [1e-6, 2e-6], [0.0, 1e5]])
    def test_an_axis_holds_its_values_at_round_numbers(self, values):
        result = axis(values, "")
        assert result.low <= min(values) <= max(values) <= result.high
        assert 2 <= len(result.ticks) <= 12

    @pytest.mark.parametrize("values", [[0.2, 9.3], [5.0], [7.1, 7.2], [1e-6, 2.0], [40, 60, 80]])
    def test_a_growth_axis_holds_its_values_and_some_ticks(self, values):
        result = growth_axis(values, "")
        assert result.low < min(values) <= max(values) < result.high
        assert all(result.low <= mark <= result.high for mark, _ in result.ticks)
        assert result.ticks

    def test_equal_ratios_are_equally_far_on_a_logarithmic_axis(self):
        for result in (values_axis([5.0, 10.0, 20.0], "Ω"), growth_axis([5.0, 10.0, 20.0], "mW")):
            first, second, third = (result.share(value) for value in (5, 10, 20))
            assert third - second == pytest.approx(second - first)

    def test_powers_that_differ_by_more_than_five_times_are_on_a_logarithmic_axis(self):
        assert not power_axis([10.0, 50.0], "mW").is_log
        assert power_axis([10.0, 50.1], "mW").is_log
        assert not power_axis([0.0, 50.0], "mW").is_log

    @pytest.mark.parametrize("days", [0, 1, 6, 8, 40, 120, 400])
    def test_days_have_up_to_seven_ticks_within_the_axis(self, days):
        first = datetime(2026, 3, 5, tzinfo=UTC)
        result = days_axis([first, first + timedelta(days=days)])
        assert 1 <= len(result.ticks) <= 7
        assert all(result.low <= mark <= result.high for mark, _ in result.ticks)


class TestMarks:
    def test_a_point_is_half_way_between_the_corners_of_the_plot(self):
        chart = Chart("t", "d", Axis(0, 10, "", ()), Axis(0, 1, "", ()))
        for x, y in ((0, 0), (5, 0.5), (10, 1)):
            chart.point(x, y)
        circles = list(ET.fromstring(svg(chart)).iter(f"{SVG}circle"))
        for name in ("cx", "cy"):
            first, middle, last = (float(circle.get(name)) for circle in circles)
            assert middle == pytest.approx((first + last) / 2, abs=0.1)

    @pytest.mark.parametrize("width", [NARROW, WIDE])
    def test_values_beyond_an_axis_stay_inside_the_picture(self, width):
        chart = Chart("t", "d", Axis(0, 10, "", ()), Axis(0, 1, "", ()))
        chart.point(-50, 7)
        circle = next(ET.fromstring(svg(chart, width)).iter(f"{SVG}circle"))
        assert 0 <= float(circle.get("cx")) <= width

    def test_the_first_56_series_differ_in_shape_or_colour(self):
        chart = Chart("t", "d", axis([0, 56], "x"), axis([0, 1], "y"))
        for series in range(colours.ALL):
            chart.point(0, 0.5, series)
        drawn = re.findall(r'<(?:circle|path) class="(?:[fr][^>]*)', svg(chart))
        assert len(set(drawn)) == colours.ALL

    def test_chosen_series_differ_in_colour_and_have_their_own_shape(self):
        apart = colours.distinguished([0, 8, 16, 24, 32, 40])
        assert len({each % colours.COLOURS for each in apart}) == 6
        shapes = len(colours.SHAPES)
        assert [each % shapes for each in apart] == [each % shapes for each in range(0, 41, 8)]

    def test_title_and_description_are_there_and_no_style_is(self):
        text = svg(rows_chart("Teams", "who is ahead", ["A", "B"], axis([0, 1], "mW")))
        tree = ET.fromstring(text)
        assert tree.find(f"{SVG}title").text == "Teams"
        assert tree.find(f"{SVG}desc").text == "who is ahead"
        assert tree.get("role") == "img"
        assert "style" not in text


class TestColours:
    @pytest.mark.parametrize("colour", colours.ON_LIGHT)
    def test_on_light_paper_each_has_a_contrast_of_three(self, colour):
        """WCAG 2.2, success criterion 1.4.11, asks 3 : 1 of graphics; of text (1.4.3) 4.5 : 1."""
        assert contrast(colour, "#fbfaf7") >= 4.5

    @pytest.mark.parametrize("colour", colours.ON_DARK)
    def test_on_dark_paper_too(self, colour):
        assert contrast(colour, "#121b1c") >= 4.5


class TestLettering:
    def test_a_shortened_text_fits(self):
        for most in (20.0, 50.0, 90.0, 500.0):
            assert width_of(shortened("Brackhollow Junior School", 14.0, most), 14.0) <= most

    def test_a_text_that_fits_stays(self):
        assert shortened("Indigo", 14.0, 100.0) == "Indigo"
