"""Methods, HEAD and conditional requests as in HTTP (RFC 9110)."""

import unicodedata

import pytest

from api.models.access.keys import KeyMade
from api.services.core.safe_cells import FORMS_OF_SIGNS, FORMULA_SIGNS, protect
from tests.support.makers import World, created


class TestMethods:
    @pytest.mark.parametrize(
        ("method", "path", "allowed"),
        [
            ("DELETE", "/v1/teams/{team}", "GET, HEAD, PATCH"),
            ("PUT", "/v1/teams", "GET, HEAD, POST"),
            ("POST", "/v1/teams/{team}", "GET, HEAD, PATCH"),
            ("GET", "/v1/imports/{team}/undo", "POST"),
            ("DELETE", "/sign-in", "GET, HEAD, POST"),
        ],
    )
    def test_a_refused_method_names_all_that_are_taken(self, method, path, allowed, world: World):
        """RFC 9110, 15.5.6: the answer must say which methods the address takes now."""
        answer = world.lead.request(method, path.format(team=world.larch.team_id))
        assert answer.status_code == 405
        assert answer.headers["allow"] == allowed

    @pytest.mark.parametrize("path", ["/v1/teams", "/v1/teams/{team}", "/healthz", "/sign-in"])
    def test_head_answers_what_get_does_without_its_body(self, path, world: World):
        """RFC 9110, 9.3.2."""
        path = path.format(team=world.larch.team_id)
        head, get = world.lead.head(path), world.lead.get(path)
        assert head.status_code == get.status_code == 200
        assert head.headers.get("etag") == get.headers.get("etag")
        assert head.headers["content-type"] == get.headers["content-type"]
        assert ("ratelimit" in head.headers) == ("ratelimit" in get.headers)

    def test_head_is_refused_like_get(self, app_client):
        assert app_client.head("/v1/teams").status_code == 401


class TestConditions:
    def test_a_star_means_whatever_state_there_is(self, world: World):
        """RFC 9110, 13.1.1: `*` holds where the thing exists."""
        path = f"/v1/teams/{world.larch.team_id}"
        for size in (3, 4):
            answer = world.larch.coach.patch(path, json={"size": size}, headers={"If-Match": "*"})
            assert answer.status_code == 200
        gone = world.larch.coach.patch(
            path[:-3] + "000", json={"size": 3}, headers={"If-Match": "*"}
        )
        assert gone.status_code == 404

    @pytest.mark.parametrize("version", ['"v0"', "v1", '"*"'])
    def test_no_real_state_is_called_so(self, version, world: World):
        path = f"/v1/teams/{world.larch.team_id}"
        headers = {"If-Match": version}
        answer = world.larch.coach.patch(path, json={"size": 3}, headers=headers)
        assert answer.status_code in (400, 412)


def test_a_key_made_again_is_of_the_shape_that_is_promised(world: World):
    asked, headers = {"label": "x", "role": "lead"}, {"Idempotency-Key": "k"}
    for _ in range(2):
        KeyMade.model_validate(created(world.lead.post("/v1/keys", json=asked, headers=headers)))


def test_every_form_of_a_formulas_sign_is_marked():
    """Unicode's own compatibility forms (NFKC, UAX #15) are the reference."""
    forms = {
        chr(point)
        for point in range(0x110000)
        if not 0xD800 <= point < 0xE000
        and unicodedata.normalize("NFKC", chr(point)) in set(FORMULA_SIGNS)
    } - set(FORMULA_SIGNS)
    assert forms == set(FORMS_OF_SIGNS)
    assert {protect(f"{sign}1")[0] for sign in forms} == {"'"}


def test_a_visitor_does_not_read_the_hosts_words_about_its_session(world: World):
    """The larch's coach explains a flag of its session; the visitor's trial does not show why."""
    flags = world.larch.coach.get(f"/v1/flags?session_id={world.larch.session_id}").json()["items"]
    of_session = [flag for flag in flags if flag["session_id"] and flag["state"] == "open"]
    assert of_session, flags
    asked = {"answer": "confirm", "reason": "the host's own words"}
    answered = world.larch.coach.post(f"/v1/flags/{of_session[0]['id']}/answer", json=asked)
    assert answered.status_code == 200, answered.text
    path = f"/v1/trials?session_id={world.larch.session_id}"
    text = world.larch.coach.get(path).text
    assert of_session[0]["id"] in text
    assert "the host's own words" not in text
    again = world.larch.coach.get(f"/v1/flags/{of_session[0]['id']}").json()
    assert again["reason"] == "the host's own words"
