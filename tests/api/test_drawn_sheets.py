"""Spreadsheets with a known truth: what an import stores is right, or it is refused or asked."""

from tests.bench.drawn_sheets import (
    LEAST_RIGHT_SHARE,
    described,
    draw_sheet,
    running_imports,
    try_sheets,
)

SEED, SHEETS = 20, 40


def test_nothing_is_silently_stored_wrong():
    with running_imports() as imports:
        tally = try_sheets(imports, SEED, range(1, SHEETS + 1))
    assert [described(sheet, verdict) for sheet, verdict in tally.wrong] == []
    assert tally.right_share >= LEAST_RIGHT_SHARE


def test_the_same_seed_draws_the_same_sheets():
    drawn = [[draw_sheet(SEED, number) for number in range(1, 11)] for _ in range(2)]
    assert [sheet.facts for sheet in drawn[0]] == [sheet.facts for sheet in drawn[1]]
    assert [sheet.preview for sheet in drawn[0]] == [sheet.preview for sheet in drawn[1]]
