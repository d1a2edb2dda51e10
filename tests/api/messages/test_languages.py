"""The language of an answer, for all of its texts."""

import pytest

from api.messages.languages import preferred
from tests.support.flags import flag_of, run
from tests.support.makers import World, trial_payload

GERMAN = {"Accept-Language": "de"}


class TestPreferred:
    """RFC 9110, 12.5.4: names with weights, and a language also matches its countries' variants."""

    @pytest.mark.parametrize(
        ("header", "language"),
        [
            ("", "en"), ("*", "en"), ("fr", "en"), ("de", "de"), ("de-AT", "de"), ("DE-de", "de"),
            ("fr, de;q=0.8, en;q=0.5", "de"), ("en;q=0.3, de;q=0.7", "de"),
            ("de;q=0, en", "en"), ("de;q=0", "en"), ("en-GB,en;q=0.9,de;q=0.8", "en"),
        ],
    )  # fmt: skip
    def test_the_best_that_is_spoken(self, header, language):
        assert preferred(header) == language

    @pytest.mark.parametrize(
        "header",
        [
            ";",
            ",,,",
            "de;q=much",
            "../../etc/passwd",
            "d" * 5000,
            "de;" * 5000,
            "\u00e4",
            "en;q=1.5.2",
        ],
    )
    def test_an_odd_header_is_no_error(self, header):
        assert preferred(header) in ("en", "de")


class TestTheApi:
    def test_an_answer_names_its_language(self, world: World):
        answer = world.larch.coach.get("/v1/flags", headers=GERMAN)
        assert answer.headers["content-language"] == "de"
        assert "accept-language" in answer.headers["vary"].lower()
        assert world.larch.coach.get("/v1/flags").headers["content-language"] == "en"

    def test_a_question_is_stored_once_and_read_in_either(self, world: World):
        flag = flag_of(run(world.larch, wind_speed_m_s=9.4), "wind_unit_slip")
        assert "9.4 mph would be 4.20 m/s" in flag["message"]
        german = world.larch.coach.get(f"/v1/flags/{flag['id']}", headers=GERMAN).json()
        assert "9,4 mph" in german["message"]
        assert "4,20 m/s" in german["message"]
        assert "would" not in german["message"] + german["advice"]

    def test_readings_are_listed_as_the_language_does(self, world: World):
        trial = run(world.larch, (0.016, 0.166, 0.163))
        path = f"/v1/trials/{trial['id']}"
        german = world.larch.coach.get(path, headers=GERMAN).json()
        assert "0,166 V und 0,163 V" in flag_of(german, "runs_disagree")["message"]
        assert "0.166 V and 0.163 V" in flag_of(trial, "runs_disagree")["message"]

    def test_a_refusal_is_in_the_askers_language(self, world: World):
        asked = trial_payload(world.larch, build_id="bld_00000000000000000000000000")
        english = world.larch.coach.post("/v1/trials", json=asked)
        german = world.larch.coach.post("/v1/trials", json=asked, headers=GERMAN)
        assert (english.status_code, german.status_code) == (404, 404)
        assert english.json()["type"] == german.json()["type"]
        for name in ("title", "detail"):
            assert english.json()[name] != german.json()[name]

    def test_a_cached_report_does_not_cross_languages(self, world: World):
        path = f"/v1/seasons/{world.season_id}/report"
        bodies = [world.larch.coach.get(path, headers=headers).json()["comparison"]["sentence"]
                  for headers in ({}, GERMAN, {}, GERMAN)]  # fmt: skip
        assert bodies[0] == bodies[2] != bodies[1] == bodies[3]

    def test_numbers_and_keys_are_the_same_in_every_language(self, world: World):
        path = f"/v1/seasons/{world.season_id}/comparison"
        english, german = (
            world.larch.coach.get(path, headers=headers).json() for headers in ({}, GERMAN)
        )
        assert _without_sentences(english) == _without_sentences(german)

    def test_the_api_takes_no_cookie(self, world: World):
        answer = world.larch.coach.get("/v1/flags", headers={"Cookie": "language=de"})
        assert answer.headers["content-language"] == "en"


def _without_sentences(value):
    if isinstance(value, dict):
        return {name: _without_sentences(each) for name, each in value.items()
                if name not in ("sentence", "reason", "words", "as_of")}  # fmt: skip
    return [_without_sentences(each) for each in value] if isinstance(value, list) else value
