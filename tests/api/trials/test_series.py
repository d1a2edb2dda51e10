"""A logger's file as the reading of a run."""

import math

import pytest

from tests.support.makers import World, created, trial_payload


def send(client, trial_id, text, run=1, kind="text/csv"):
    return client.post(
        f"/v1/trials/{trial_id}/runs/{run}/series", content=text, headers={"Content-Type": kind}
    )


def logged(volts, rate=2.0, decimal=".", delimiter=","):
    rows = [f"{at / rate}{delimiter}{volt}".replace(".", decimal) for at, volt in enumerate(volts)]
    return f"time_s{delimiter}voltage_v\n" + "\n".join(rows) + "\n"


class TestRefused:
    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("", "empty"),
            ("a,b\n1,2\n", "must name the columns"),
            ("time_s,voltage_v\n0,1.2\n", "two rows or more"),
            ("time_s,voltage_v\n0,1.2\n1,1.l9\n", "not a number"),
            ("time_s,voltage_v\n0,1.2\n1,nan\n", "not a number"),
            ("time_s,voltage_v\n0,1.2\n1,1.2\n0.5,1.2\n", "does not go forward"),
            ("time_s,voltage_v\n0,1\n1,1\n1,1\n1,1\n1,1\n", "does not go forward"),
            ("time_s,voltage_v\n-1e308,1\n1e308,1\n", "does not go forward"),
            ("time_s,voltage_v\n0,1\n1e-320,1\n", "duration_s"),
            ("time_s,voltage_v\n0,1\n0.1,1\n", "duration_s"),
            ("time_s,voltage_v\n0,1\n1,1\n2,1\n3,1\n8,1\n", "a gap"),
        ],
    )
    def test_with_the_reason(self, text, words, world: World):
        answer = send(world.larch.coach, world.larch.trial_id, text)
        assert answer.status_code == 422
        assert words in answer.json()["detail"]

    def test_the_line_is_the_files_own(self, world: World):
        text = "time_s,voltage_v\n\n0,1.2\n\n1,oops\n"
        answer = send(world.larch.coach, world.larch.trial_id, text)
        assert answer.json()["errors"][0]["row"] == 5

    def test_a_cell_of_a_million_letters(self, world: World):
        text = 'time_s,voltage_v\n0,"' + "1" * 1_000_000
        answer = send(world.larch.coach, world.larch.trial_id, text)
        assert answer.status_code == 422
        assert "cannot be cut" in answer.json()["detail"]

    def test_another_kind_of_file(self, world: World):
        answer = send(world.larch.coach, world.larch.trial_id, "x", kind="image/png")
        assert answer.status_code == 415

    def test_a_form_without_the_file(self, world: World):
        path = f"/v1/trials/{world.larch.trial_id}/runs/1/series"
        answer = world.larch.coach.post(path, files={"other": logged([1.2, 1.2]).encode()})
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["pointer"] == "/file"

    def test_a_run_that_is_not_there(self, world: World):
        answer = send(world.larch.coach, world.larch.trial_id, logged([1.2, 1.2]), run=9)
        assert answer.status_code == 404

    def test_over_the_meters_range(self, world: World):
        answer = send(world.larch.coach, world.larch.trial_id, logged([1.2, 2.4]))
        assert answer.status_code == 422


class TestAttached:
    def test_in_a_form_and_once_for_all_tries(self, world: World):
        path = f"/v1/trials/{world.larch.trial_id}/runs/1/series"
        file, key = {"file": logged([1.2] * 60).encode()}, {"Idempotency-Key": "logger 1"}
        first, again = (world.larch.coach.post(path, files=file, headers=key) for _ in range(2))
        assert first.status_code == 200, first.text
        assert again.headers["idempotent-replayed"] == "true"
        assert again.json() == first.json()

    @pytest.mark.on_both
    def test_power_is_the_mean_of_squares(self, world: World):
        """Volts of 1.2 (1 ± 0.08) half the time each: (1.2² (1 + 0.08²))/30.1 in that run."""
        volts = [1.2 * (1 + 0.08 * (-1) ** at) for at in range(60)]
        answer = send(world.larch.coach, world.larch.trial_id, logged(volts))
        assert answer.status_code == 200, answer.text
        trial = answer.json()
        one = 1.2**2 * (1 + 0.08**2) / 30.1
        expected = math.exp((math.log(one) + 2 * math.log(1.2**2 / 30.1)) / 3)
        assert trial["result"]["power_w"] == pytest.approx(expected)
        assert trial["runs"][0]["sample_rate_hz"] == 2.0
        assert trial["runs"][0]["duration_s"] == 30.0
        assert "not_steady" not in [flag["rule"] for flag in trial["flags"]]

    def test_semicolons_and_decimal_commas(self, world: World):
        text = logged([1.2, 1.21, 1.19], decimal=",", delimiter=";")
        assert send(world.larch.coach, world.larch.trial_id, text).status_code == 200

    def test_a_series_that_was_still_rising_raises_a_flag(self, world: World):
        volts = [1.1 + 0.004 * at for at in range(40)]
        trial = send(world.larch.coach, world.larch.trial_id, logged(volts)).json()
        assert "not_steady" in [flag["rule"] for flag in trial["flags"]]

    def test_other_runs_keep_the_unit_they_were_typed_in(self, world: World):
        asked = trial_payload(world.larch, runs=[{"voltage_mv": 1210}, {"voltage_mv": 1190}])
        trial = created(world.larch.coach.post("/v1/trials", json=asked))
        body = send(world.larch.coach, trial["id"], logged([1.2, 1.21])).json()["runs"]
        assert [run["as_typed"] for run in body] == [{}, trial["runs"][1]["as_typed"]]
        assert trial["runs"][1]["as_typed"]["voltage_v"]["unit"] == "mV"

    def test_the_reading_before_stays_readable(self, world: World):
        send(world.larch.coach, world.larch.trial_id, logged([1.2, 1.21]))
        path = f"/v1/trials/{world.larch.trial_id}/history"
        entry = world.larch.coach.get(path).json()["items"][-1]
        assert entry["reason"] == "logger file for run 1"
        assert entry["changes"]["runs"][0][0]["voltage_v"] == 1.2
