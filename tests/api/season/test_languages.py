"""Answers about a season are made and cached in the language of the request."""

from api.messages import current_language, using
from api.models.registry.seasons import Season
from api.services.access.keys import CONSOLE
from api.services.core.computing import SeasonQueue
from api.services.season.cached_answers import season_answer
from tests.support.makers import World


def answer_in(language: str, world: World) -> str:
    with world.lead.app.state.database.reading() as db, using(language):
        season = db.get_one(Season, world.season_id)
        return season_answer(
            db, CONSOLE, season, ("a word",), lambda db, season: current_language()
        )


def test_each_language_has_an_answer_of_its_own(world: World):
    assert [answer_in(each, world) for each in ("en", "de", "en")] == ["en", "de", "en"]


def test_an_answer_worked_out_by_another_is_in_the_askers_language(world: World, monkeypatch):
    wait = SeasonQueue.wait

    def in_anothers_thread(*asked):
        with using("en"):
            wait(*asked)

    monkeypatch.setattr(SeasonQueue, "wait", in_anothers_thread)
    assert answer_in("de", world) == "de"
