"""Draw the plots of analysis/METHOD.md from the numbers of its worked example.

Usage: python -m tests.bench.method_plots

Writes analysis/plots/*.svg; a test holds the files to what this draws.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from analysis.comparison.fit import fit_season
from analysis.comparison.pairs import fair_powers
from analysis.generator import fit_load_sweep
from analysis.pitch import find_optimum

FOLDER = Path(__file__).parents[2] / "analysis" / "plots"
WIDTH, HEIGHT, LEFT, BOTTOM, TOP, RIGHT = 560, 320, 60, 48, 36, 16

#: The worked example's sweeps, and its season in ln mW.
PITCH_DEG = np.repeat([6.0, 8.5, 11.0, 13.5, 16.0], 2)
PITCH_MW = np.array([33.0, 34.1, 43.2, 42.1, 47.6, 46.3, 44.0, 45.4, 40.1, 39.2])
LOAD_OHM = np.array([5.0, 10.0, 15.0, 22.0, 33.0, 47.0])
LOAD_V = np.array([0.402, 0.640, 0.800, 0.955, 1.115, 1.228])
SEASON = [  # bench, session, build, team, mW
    ("Hall", "h1", "rotor", "", 52.0), ("Hall", "h1", "Larch", "Larch", 46.0),
    ("Hall", "h1", "Alder", "Alder", 38.0), ("Hall", "h2", "rotor", "", 54.0),
    ("Hall", "h2", "Larch", "Larch", 48.5), ("Gym", "g1", "rotor", "", 71.0),
    ("Gym", "g1", "Heron", "Heron", 55.0), ("Gym", "g2", "rotor", "", 68.5),
    ("Gym", "g2", "Heron", "Heron", 52.5), ("Gym", "g2", "Dunlin", "Dunlin", 66.0),
]  # fmt: skip


def season():
    """Return the fit of the worked example's season."""
    bench, session, build, team, power = zip(*SEASON, strict=True)
    return fit_season(
        {"bench_id": bench, "session_id": session, "build_id": build, "team_id": team,
         "log_power": np.log(np.array(power) / 1000), "u_own": [0.035] * len(power)}
    )  # fmt: skip


class Plot:
    """Lines, points and words over two axes, as SVG text."""

    def __init__(self, title: str, description: str, x: tuple, y: tuple) -> None:
        (self.x_name, self.x_low, self.x_high), (self.y_name, self.y_low, self.y_high) = x, y
        self.parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
            f'font-family="sans-serif" font-size="13">',
            f"<title>{title}</title><desc>{description}</desc>",
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
            f'<text x="{LEFT}" y="20" font-weight="bold">{title}</text>',
        ]

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Return the position of a point on the paper."""
        across = (x - self.x_low) / (self.x_high - self.x_low)
        up = (y - self.y_low) / (self.y_high - self.y_low)
        return (
            round(LEFT + across * (WIDTH - LEFT - RIGHT), 1),
            round(HEIGHT - BOTTOM - up * (HEIGHT - BOTTOM - TOP), 1),
        )

    def axes(self, x_ticks: list, y_ticks: list, x_words: Callable = str) -> None:
        """Draw both axes with their names and ticks."""
        left, bottom = self.place(self.x_low, self.y_low)
        right, top = self.place(self.x_high, self.y_high)
        self.parts.append(
            f'<path d="M{left} {top}V{bottom}H{right}" fill="none" stroke="#333"/>'
            f'<text x="{right}" y="{HEIGHT - 8}" text-anchor="end">{self.x_name}</text>'
            f'<text x="{left - 52}" y="{top - 6}">{self.y_name}</text>'
        )
        for tick in x_ticks:
            x, _ = self.place(tick, self.y_low)
            self.parts.append(f'<text x="{x}" y="{bottom + 16}" text-anchor="middle">'
                              f"{x_words(tick)}</text>")  # fmt: skip
        for tick in y_ticks:
            _, y = self.place(self.x_low, tick)
            self.parts.append(f'<text x="{left - 6}" y="{y + 4}" text-anchor="end">{tick}</text>')

    def line(self, xs, ys, dashed: bool = False) -> None:
        """Draw a line through points."""
        steps = " ".join("{} {}".format(*self.place(x, y)) for x, y in zip(xs, ys, strict=True))
        dashes = ' stroke-dasharray="6 4"' if dashed else ""
        self.parts.append(
            f'<polyline points="{steps}" fill="none" stroke="#0072B2" stroke-width="2"{dashes}/>'
        )

    def point(self, x: float, y: float, low: float | None = None, high: float | None = None):
        """Draw a point, with an interval if there is one."""
        at = self.place(x, y)
        if low is not None and high is not None:
            _, bottom = self.place(x, low)
            _, top = self.place(x, high)
            self.parts.append(f'<path d="M{at[0]} {top}V{bottom}" stroke="#333" stroke-width="2"/>')
        self.parts.append(f'<circle cx="{at[0]}" cy="{at[1]}" r="4" fill="#D55E00"/>')

    def band(self, low: float, high: float) -> None:
        """Shade a span of x."""
        left, top = self.place(low, self.y_high)
        right, bottom = self.place(high, self.y_low)
        self.parts.append(
            f'<rect x="{left}" y="{top}" width="{right - left:.1f}" height="{bottom - top:.1f}" '
            f'fill="#56B4E9" opacity="0.25"/>'
        )

    def text(self) -> str:
        """Return the plot."""
        return "\n".join([*self.parts, "</svg>\n"])


def pitch_plot() -> str:
    """Draw the pitch sweep with its fitted top and plateau."""
    best = find_optimum(PITCH_DEG, PITCH_MW / 1000)
    low, high = best.plateau_deg
    plot = Plot(
        "Power over blade pitch",
        f"Ten readings from 6 to 16 degrees; best at {best.best_pitch_deg:.1f} degrees, "
        f"just as good from {low:.1f} to {high:.1f}.",
        ("pitch, °", 5, 17),
        ("mW", 30, 50),
    )
    plot.band(low, high)
    plot.axes([6, 8.5, 11, 13.5, 16], [30, 35, 40, 45, 50])
    curvature = np.log(1 / 0.97) / np.log(high / best.best_pitch_deg) ** 2
    xs = np.linspace(7.5, 15, 40)
    ys = 1000 * best.peak_power_w * np.exp(-curvature * np.log(xs / best.best_pitch_deg) ** 2)
    plot.line(xs, ys)
    for x, y in zip(PITCH_DEG, PITCH_MW, strict=True):
        plot.point(x, y)
    return plot.text()


def load_plot() -> str:
    """Draw volts over amperes of the load sweep with the source's line."""
    sweep = fit_load_sweep(LOAD_OHM, LOAD_V)
    plot = Plot(
        "Volts over current at one wind",
        f"Six loads on a line of {sweep.source_voltage_v:.2f} V less "
        f"{sweep.source_resistance_ohm:.1f} ohms times the current.",
        ("current, mA", 0, 100),
        ("V", 0, 1.8),
    )
    plot.axes([0, 20, 40, 60, 80], [0.0, 0.5, 1.0, 1.5])
    amperes = np.array([0, 0.09])
    plot.line(1000 * amperes, sweep.source_voltage_v - sweep.source_resistance_ohm * amperes)
    for volts, ohms in zip(LOAD_V, LOAD_OHM, strict=True):
        plot.point(1000 * volts / ohms, volts)
    return plot.text()


def comparison_plot() -> str:
    """Draw the fair powers of four teams of two benches with their intervals."""
    fair = fair_powers(season(), {"rotor": 0.060})
    teams = ["Larch", "Alder", "Heron", "Dunlin"]
    text = "; ".join(f"{team} {1000 * fair[team].power_w:.0f} mW" for team in teams)
    plot = Plot("Fair power, with its interval", text, ("team", 0, 5), ("mW", 20, 90))
    plot.axes([1, 2, 3, 4], [20, 40, 60, 80], lambda at: teams[at - 1])
    for at, team in enumerate(teams, start=1):
        low, high = fair[team].interval_w
        plot.point(at, 1000 * fair[team].power_w, 1000 * low, 1000 * high)
    return plot.text()


PLOTS = {"pitch.svg": pitch_plot, "load.svg": load_plot, "comparison.svg": comparison_plot}


def main() -> None:
    """Write the plots."""
    FOLDER.mkdir(exist_ok=True)
    for name, draw in PLOTS.items():
        (FOLDER / name).write_text(draw(), encoding="utf-8")


if __name__ == "__main__":
    main()
