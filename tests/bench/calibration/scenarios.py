"""The seasons that calibration is tried on: what each one is like."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Scenario:
    """How a season is drawn; standard deviations of ln power unless named otherwise."""

    name: str
    schools: int = 6
    teams: int = 4
    weeks: int = 8
    trials: int = 2
    runs: int = 3
    #: Runs of the reference rotor in each session, and in how many weeks of all it is there.
    reference_runs: int = 2
    reference_weeks: int = 8
    #: Teams of each school that test at the next school's bench in the middle and last week.
    visitors: int = 0
    team: float = 0.30
    build: float = 0.12
    bench: float = 0.12
    #: Of ln wind speed: how far a wind meter reads off, a bench's wind from 4 m/s, a session's.
    meter: float = 0.05
    bench_wind: float = 0.06
    session_wind: float = 0.03
    session: float = 0.05
    interaction: float = 0.05
    placement: float = 0.02
    run: float = 0.04
    #: True wind exponents: normal with mean and spread, or uniform between two limits.
    exponents: tuple[str, float, float] = ("normal", 2.6, 0.4)
    #: Degrees of freedom of session and run scatter; 0 is normal. Scaled to the same deviation.
    tails: int = 0
    #: Share of trials with a gross mistake, by kind.
    mistakes: float = 0.0
    #: Share of teams with a wind sweep of their own, with its standard error.
    swept: float = 0.0
    sweep_error: float = 0.15
    #: What the reference rotor gains a week, in ln power.
    rotor_drift: float = 0.0
    #: How often a team builds again in a week, and what it gains by it on average.
    rebuilds: float = 0.4
    gain: float = 0.03


SCENARIOS = (
    Scenario("base"),
    Scenario("exponents uniform 1.5 to 3.2", exponents=("uniform", 1.5, 3.2)),
    Scenario("exponents uniform, half swept", exponents=("uniform", 1.5, 3.2), swept=0.5),
    Scenario("winds far from the reference", bench_wind=0.12),
    Scenario("interaction 10 %", interaction=0.10),
    Scenario("interaction 10 %, visits", interaction=0.10, visitors=2),
    Scenario("interaction 2 %, visits", interaction=0.02, visitors=2),
    Scenario("heavy tails", tails=3),
    Scenario("nasty mix", tails=3, session=0.08, interaction=0.08,
             exponents=("uniform", 1.5, 3.2)),
    Scenario("3 % mistakes", mistakes=0.03),
    Scenario("quiet runs", run=0.02, session=0.03, placement=0.01),
    Scenario("noisy runs", run=0.08, session=0.10),
    Scenario("strangers at the fans", bench=0.30, meter=0.10),
    Scenario("teams alike", team=0.08, build=0.05),
    Scenario("few sessions", weeks=3, reference_weeks=3),
    Scenario("rotor in two weeks alone", reference_weeks=2),
    Scenario("visits, no rotor", reference_weeks=0, visitors=2),
    Scenario("three schools", schools=3),
    Scenario("twelve schools", schools=12),
    Scenario("rotor fades 1 % a week", rotor_drift=-0.01),
)  # fmt: skip
#: Seasons in which no team changes anything, for what is claimed of trends.
UNCHANGED = (
    Scenario("nothing changes", weeks=12, reference_weeks=12, rebuilds=0.0),
    Scenario("nothing changes, rotor fades 1 % a week", weeks=12, reference_weeks=12,
             rebuilds=0.0, rotor_drift=-0.01),
)  # fmt: skip
