"""Ticks as people and spreadsheets write them, in several languages."""

import pytest

from tests.support.makers import World
from tests.support.sheets import ROW, send, sheet


def sent(world: World, word: str):
    row = ROW.format(ref="t1", volts="1.2").replace("30.1,yes", f"30.1,{word}")
    return send(world.larch.coach, sheet(row))


@pytest.mark.parametrize("word", ["yes", "Ja", "WAHR", "oui", "Vrai", "Sí", "sì", "verdadero", "x"])
def test_yes(world: World, word):
    assert sent(world, word).status_code == 201


@pytest.mark.parametrize("word", ["no", "Nein", "FALSCH", "non", "faux", "falso", "0"])
def test_no_is_no_connected_load(world: World, word):
    assert "was the resistor connected" in sent(world, word).text.lower()


@pytest.mark.parametrize("word", ["perhaps", "jain", "2", "oder"])
def test_another_word_is_asked_about(world: World, word):
    assert ("load_connected", "must be yes or no") in [
        (each["column"], each["detail"]) for each in sent(world, word).json()["errors"]
    ]
