"""Draw spreadsheets whose truth is known, import each one, and compare what the service stored.

Usage: python -m tests.bench.drawn_sheets [--sheets 1000] [--seed 1] [--only NUMBER]

The truth of a sheet is what the person who made it means and sees. Each value must be stored right,
or be refused or asked about (a held trial is asked about). The command ends with 1 if a value is
stored wrong, or if fewer than 30 % of all values are stored right. The same seed always draws the
same sheets; `--only` draws one sheet of a seed again and prints its cells.
"""

import argparse
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from tests.bench.sheets.drawing import draw_sheet
from tests.bench.sheets.judging import Imports, Verdict, running_imports
from tests.bench.sheets.words import Sheet

LEAST_RIGHT_SHARE = 0.30
MOST_LISTED = 20


@dataclass
class Tally:
    """Counts of files and of values by class of mixture, and the values that are wrong."""

    files: Counter[tuple[str, str]] = field(default_factory=Counter)
    values: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    totals: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[Sheet, Verdict]] = field(default_factory=list)

    def add(self, sheet: Sheet, verdicts: list[Verdict]) -> None:
        """Count a sheet under each of its oddities."""
        for oddity in sheet.oddities or ("nothing odd",):
            self.files[sheet.kind, oddity] += 1
            for verdict in verdicts:
                self.values[sheet.kind, oddity, verdict.outcome] += 1
        self.totals.update(verdict.outcome for verdict in verdicts)
        self.wrong += [(sheet, each) for each in verdicts if each.outcome == "wrong"]

    @property
    def right_share(self) -> float:
        return self.totals["right"] / max(1, self.totals.total())

    def show(self) -> None:
        """Print the table and the first wrong values."""
        print(f"{'file':5} {'oddity':34} {'files':>6} {'right':>7} {'asked':>7} {'WRONG':>6}")
        for kind, oddity in sorted(self.files):
            counts = [self.values[kind, oddity, each] for each in ("right", "asked", "wrong")]
            files = self.files[kind, oddity]
            print(f"{kind:5} {oddity:34} {files:6} {counts[0]:7} {counts[1]:7} {counts[2]:6}")
        print(f"all values: {self.totals['right']} right ({100 * self.right_share:.0f} %), "
              f"{self.totals['asked']} refused or asked, {self.totals['wrong']} WRONG")  # fmt: skip
        for sheet, verdict in self.wrong[:MOST_LISTED]:
            print(described(sheet, verdict))


def described(sheet: Sheet, verdict: Verdict) -> str:
    """Return one line about a wrong value."""
    fact = verdict.fact
    return (f"sheet {sheet.number} {sheet.kind} {fact.trial} {fact.name} run {fact.run}: typed "
            f"{fact.typed}, truth {fact.truth}, stored {verdict.stored}; "
            f"{fact.oddity or 'plain cell'}; file: {', '.join(sheet.oddities) or 'nothing odd'}"
            f"; signs {sheet.habits.decimal!r} {sheet.habits.thousands!r}")  # fmt: skip


def try_sheets(imports: Imports, seed: int, numbers: Iterable[int]) -> Tally:
    """Draw and import sheets of a seed."""
    tally = Tally()
    for number in numbers:
        sheet = draw_sheet(seed, number)
        tally.add(sheet, imports.verdicts(sheet))
    return tally


def main() -> int:
    """Print the report; return 1 if a value is wrong or too few are stored."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sheets", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="draw this one sheet and print its cells")
    asked = parser.parse_args()
    with running_imports() as imports:
        if asked.only is not None:
            _show_sheet(imports, draw_sheet(asked.seed, asked.only))
            return 0
        tally = try_sheets(imports, asked.seed, range(1, asked.sheets + 1))
    tally.show()
    return int(bool(tally.wrong) or tally.right_share < LEAST_RIGHT_SHARE)


def _show_sheet(imports: Imports, sheet: Sheet) -> None:
    print(sheet.habits, sheet.oddities)
    print("\n".join(sheet.preview))
    for verdict in imports.verdicts(sheet):
        print(f"{verdict.outcome:6} {described(sheet, verdict)}")
    print(imports.answer.status_code, imports.answer.text[:4000])


if __name__ == "__main__":
    raise SystemExit(main())
