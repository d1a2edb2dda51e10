"""Slipped decimal points: the number of places, and values that did not slip."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.checks.decimal_slips import NEAR, PLACES, places_off, slipped_reading

VALUES = st.floats(1e-3, 1e3)
AGREEING = st.lists(st.floats(-0.06, 0.06), min_size=3, max_size=8)


class TestPlaces:
    @given(VALUES, st.sampled_from(PLACES), st.floats(-0.99, 0.99))
    def test_a_value_near_a_power_of_ten_is_off_by_its_places(self, usual, places, share):
        value = usual * 10.0**places * math.exp(share * 0.2)
        assert places_off(value, usual, 0.2) == places

    @given(VALUES, st.integers(-5, 5), st.floats(1.01, 5) | st.floats(-5, -1.01))
    def test_a_value_between_two_powers_of_ten_is_off_by_none(self, usual, places, share):
        value = usual * 10.0**places * math.exp(share * 0.2)
        assert places_off(value, usual, 0.2) == 0

    @pytest.mark.parametrize("places", [0, 4, -4])
    def test_no_place_and_four_places_are_no_slip(self, places):
        assert places_off(1.2 * 10.0**places, 1.2, 0.26) == 0

    @given(VALUES, VALUES)
    def test_the_two_turned_round_are_off_by_as_many_the_other_way(self, one, other):
        assert places_off(one, other, 0.2) == -places_off(other, one, 0.2)


class TestReadings:
    @pytest.mark.parametrize("readings", [[], [1.2], [1.2, 0.0, 1.2], [1.2, -0.12, 1.2]])
    def test_none_one_and_zero_readings_show_no_slip(self, readings):
        assert slipped_reading(readings) is None

    @given(AGREEING, VALUES, st.sampled_from(PLACES), st.data())
    def test_one_among_others_that_agree_is_found_with_its_factor(self, off, usual, places, data):
        """Up to 0.12 apart in ln value: within 0.13 of each other, and the slipped one 0.26."""
        readings = [usual * math.exp(each) for each in off]
        at = data.draw(st.integers(0, len(readings) - 1))
        readings[at] *= 10.0**places
        slipped = slipped_reading(readings)
        assert slipped.position == at
        assert slipped.factor == pytest.approx(10.0**-places)
        readings[at] *= slipped.factor
        assert max(readings) / min(readings) <= math.exp(0.12 + 1e-9)

    @given(AGREEING, VALUES)
    def test_readings_that_agree_have_none(self, off, usual):
        assert slipped_reading([usual * math.exp(each) for each in off]) is None

    @given(st.permutations([1.2, 1.19, 0.121, 1.21]))
    def test_the_order_of_readings_changes_only_the_position(self, readings):
        slipped = slipped_reading(readings)
        assert (readings[slipped.position], slipped.factor) == (0.121, 10.0)

    @pytest.mark.parametrize(
        ("readings", "fits"),
        # A model gives 0.02 V to 20 V: the reading outside is meant.
        [([0.012, 1.2], 1.2), ([0.01, 0.1], 0.1), ([2.5, 25.0], 2.5), ([0.0012, 1.2], 1.2)],
    )
    def test_of_two_readings_the_one_that_no_model_gives_is_meant(self, readings, fits):
        slipped = slipped_reading(readings)
        assert readings[slipped.position] * slipped.factor == pytest.approx(fits)

    @pytest.mark.parametrize("readings", [[0.12, 1.2], [0.001, 0.01], [0.019, 20.1]])
    def test_of_two_readings_both_possible_or_both_not_none_is_meant(self, readings):
        assert slipped_reading(readings) is None

    @pytest.mark.parametrize(
        "readings",
        [[1.2, 1.4, 0.12], [1.2, 1.2, 0.12 * math.exp(-NEAR - 0.01)], [1.2, 0.12, 1.2, 0.12]],
        ids=["others apart", "not near a tenth", "two and two"],
    )
    def test_readings_without_a_single_shift_are_no_slip(self, readings):
        assert slipped_reading(readings) is None
