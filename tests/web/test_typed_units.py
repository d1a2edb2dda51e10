"""Numbers typed with a unit at the bench: stored in SI, with the unit that was typed."""

import pytest

from tests.support.makers import World


def typed(world, **changed):
    return {
        "session_id": world.larch.session_id, "build_id": world.larch.build_id, "kind": "record",
        "pitch_deg": "12", "load_ohm": "30,1", "load_connected": "yes",
        "voltage_1": "1,31", "voltage_2": "1.30", "meter_range_v": "2",
    } | changed  # fmt: skip


def sent(world, visiting, **changed):
    return visiting(world.larch.coach_key).post("/trials/new", data=typed(world, **changed))


def stored(world, answer):
    assert answer.status_code == 303, answer.text
    trial_id = answer.headers["location"].rsplit("/", 1)[1]
    return world.larch.coach.get(f"/v1/trials/{trial_id}").json()


class TestRefusals:
    @pytest.mark.parametrize(
        ("field", "text", "says"),
        [
            ("voltage_1", "1,3 furlongs", "1,3 furlongs is not a number"),
            ("voltage_1", "1,3 m/s", "Possible are: V, mV"),
            ("load_ohm", "30 mV", "Possible are: Ω, kΩ"),
            ("voltage_1", "61 000 mV", "61 000 mV"),
            ("voltage_2", "95000 mV", "60"),
            ("wind_speed_m_s", "99 mph", "20"),
            ("voltage_1", "mV", "mV"),
        ],
    )
    def test_what_is_no_number_in_a_known_unit(self, world: World, visiting, field, text, says):
        answer = sent(world, visiting, **{field: text})
        assert answer.status_code == 422
        assert says in answer.text.replace("&#39;", "'")
        assert f'value="{text}"' in answer.text


class TestStored:
    def test_millivolts_of_readings(self, world: World, visiting):
        answer = sent(world, visiting, voltage_1="1310 mV", voltage_2="1,30")
        trial = stored(world, answer)
        assert [run["voltage_v"] for run in trial["runs"]] == [1.31, 1.30]
        first, second = (run["as_typed"] for run in trial["runs"])
        assert first["voltage_v"] == {"value": 1310.0, "unit": "mV", "field": "voltage_mv"}
        assert second == {}

    @pytest.mark.parametrize(
        ("text", "expected"),
        [
            ("9,2 mph", 4.112768),  # 9.2 × 0.44704, the international mile of 1609.344 m an hour
            ("14.4 km/h", 4.0),
            ("14.4kmh", 4.0),
            ("7.8 knots", 4.012667),  # 7.8 × 1852 / 3600
            ("4.1 m/s", 4.1),
        ],
    )
    def test_wind_in_the_units_of_wind_meters(self, world: World, visiting, text, expected):
        trial = stored(world, sent(world, visiting, wind_speed_m_s=text))
        assert trial["wind_speed_m_s"] == pytest.approx(expected, abs=1e-6)

    def test_ohms_and_degrees_with_their_own_sign(self, world: World, visiting):
        trial = stored(world, sent(world, visiting, load_ohm="0,0301 kΩ", pitch_deg="12°"))
        assert (trial["load_ohm"], trial["pitch_deg"]) == (30.1, 12.0)

    def test_a_current_belongs_to_each_reading(self, world: World, visiting):
        trial = stored(world, sent(world, visiting, current_a="43 mA"))
        assert [run["current_a"] for run in trial["runs"]] == [0.043, 0.043]
