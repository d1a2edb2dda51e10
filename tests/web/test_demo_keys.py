"""The sign-in page of the demo offers keys; that of a service with people in it offers none."""

import pytest

from tests.support.makers import World


@pytest.fixture
def offering(app_client, tmp_path, monkeypatch):
    """Return a function that offers lines of keys, as the demo does."""
    file = tmp_path / "keys.txt"

    def offer(*lines):
        if lines:
            file.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
        settings = app_client.app.state.settings.model_copy(update={"demo_keys": str(file)})
        monkeypatch.setattr(app_client.app.state, "settings", settings)

    return offer


def test_without_the_setting_nothing_is_offered(world: World, visiting):
    page = visiting("").get("/sign-in").text
    assert world.lead_key not in page
    assert "demonstration" not in page


def test_while_the_season_is_loading_nothing_is_offered(visiting, offering):
    offering()
    page = visiting("").get("/sign-in")
    assert page.status_code == 200
    assert "demonstration" not in page.text


def test_a_lead_and_a_coach_look_around_by_one_button(world: World, visiting, offering):
    offering(f"lead\t\t{world.lead_key}", f"coach\tLarch & Co\t{world.larch.coach_key}")
    browser = visiting("")
    page = browser.get("/sign-in").text
    assert "Look around as a lead" in page
    assert "Look around as a coach (Larch &amp; Co)" in page
    answer = browser.post("/sign-in", data={"key": world.larch.coach_key})
    assert answer.headers["location"] == "/today"
    assert "Larch coach" in browser.get("/account").text
