"""Print how often every probability, interval and verdict holds, beside what it states.

Usage: python -m tests.bench.calibration [--seeds N] [SCENARIO…]
"""

import argparse

from tests.bench import data_checks
from tests.bench.calibration import benches, comparison, forecasts, sweeps, verdicts
from tests.bench.calibration.scenarios import SCENARIOS, UNCHANGED, Scenario
from tests.reliability.places import print_table


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("scenarios", nargs="*", metavar="SCENARIO")
    asked = parser.parse_args()
    parts = asked.scenarios or [""]
    chosen = [of for of in SCENARIOS if any(part in of.name for part in parts)]
    rows = [{"scenario": of.name} | comparison.score(of, asked.seeds).row() for of in chosen]
    print_table(f"The fair comparison, {asked.seeds} seasons a scenario", rows)
    if asked.scenarios:
        return
    seeds = max(1, asked.seeds // 2)
    print_table("Effects of a change claimed where there is none, and forecasts",
                [_claims(of, seeds) for of in chosen])  # fmt: skip
    print_table("Trends called improving where there is none", _trends(20 * asked.seeds))
    print_table(
        "Trials, benches and the reference rotor",
        [{"scenario": of.name} | benches.counts_of(of, seeds).row() for of in chosen],
    )
    print_table("Teams that change nothing called improving after 12 weeks, by the season's fit",
                [_unchanged(of, seeds) for of in UNCHANGED])  # fmt: skip
    print_table("Data checks", [data_checks.false_claims(range(1, 21))])
    print_table("Pitch sweeps", _sweeps(6 * asked.seeds))


def _claims(of: Scenario, seeds: int) -> dict[str, object]:
    claims = {name: f"{100 * claimed / max(1, count):.1f} % of {count}"
              for name, (claimed, count) in verdicts.change_claims(of, seeds).items()}  # fmt: skip
    has_rotor = of.reference_weeks > 0
    inside = f"{forecasts.coverage(of, seeds):.3f}" if has_rotor else "no rotor"
    return {"scenario": of.name, "in one session": claims["within"],
            "across sessions": claims["across"], "80 % of a forecast holds": inside}  # fmt: skip


def _trends(seeds: int) -> list[dict[str, object]]:
    rows = []
    for sessions in (8, 12, 16):
        at_end, at_any = verdicts.false_trends(sessions, seeds)
        rows.append({"sessions": sessions, "at the end": f"{100 * at_end:.1f} %",
                     "at any look": f"{100 * at_any:.1f} %"})  # fmt: skip
    return rows


def _unchanged(of: Scenario, seeds: int) -> dict[str, object]:
    rows: dict[str, object] = {"season": of.name}
    for name, corrects in (("drift left in", False), ("drift corrected", True)):
        called, held, teams = benches.trends_with_a_rotor(of, seeds, corrects_drift=corrects)
        rows[name] = f"{100 * called / teams:.1f} % of {teams}"
        rows[f"90 % of a slope, {name}"] = f"{held / teams:.3f}"
    return rows


def _sweeps(seeds: int) -> list[dict[str, object]]:
    return [{"shape": name, "scatter": f"{100 * noise:.0f} %"}
            | sweeps.score(shape, seeds, noise).row()
            for name, shape in sweeps.SHAPES.items() for noise in (0.02, 0.04)]  # fmt: skip


if __name__ == "__main__":
    main()
