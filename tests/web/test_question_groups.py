"""Questions of one cause are listed once, with their number, and answered together."""

import re

import pytest

from tests.support.questions import held, session, state


@pytest.fixture
def coach(world, visiting):
    return visiting(world.larch.coach_key)


def groups(page):
    """Return the text of each item of a list of questions."""
    listed = page[page.index('<ul class="list">') :]
    return [
        re.sub(r"<[^>]+>", " ", item) for item in re.findall(r'<li class="hold">.*?</li>', listed)
    ]


def several(world, count, **facts):
    return [held(world, volts=(1.3 + at / 100, 1.29, 1.31), **facts) for at in range(count)]


def test_a_single_question_is_listed_by_its_trial(world, coach):
    held(world)
    (item,) = groups(coach.get("/questions").text)
    assert "Larch one, build 1" in item


def test_questions_of_one_session_and_rule_are_one_item(world, coach):
    several(world, 3)
    page = coach.get("/questions").text
    (item,) = groups(page)
    assert re.search(r"3 in the session of 5 March 2026 at \S", item)
    assert page.count("Larch one, build 1") == 3


def test_sessions_are_listed_apart(world, coach):
    several(world, 2)
    several(world, 2, session_id=session(world, 7))
    assert len(groups(coach.get("/questions").text)) == 2


def test_its_first_question_offers_to_accept_all(world, coach):
    trials = several(world, 3)
    page = coach.get("/questions").text
    first = re.search(r'<a href="(/flags/[^"]+)">3 in', page)[1]
    assert "3 questions of this session have the same cause" in coach.get(first).text
    assert coach.post(f"{first}/answer-all", data={"back": "/questions"}).status_code == 303
    assert {state(world, trial) for trial in trials} == {"accepted"}
    assert groups_or_none(coach) == []


def groups_or_none(coach):
    page = coach.get("/questions").text
    return groups(page) if '<ul class="list">' in page else []
