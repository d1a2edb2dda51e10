"""Draw what coaches write at one bench over a season, with mistakes that the checks look for."""

import random
from typing import Any

from sqlmodel import Session, col, select

from api.models.measurements.flags import Flag
from api.models.measurements.results import CachedResult
from api.models.trials.trials import Trial
from api.services.measurements import rechecks
from tests.support.makers import (
    World,
    build_payload,
    created,
    session_payload,
    trial_payload,
)

ANSWERS = ("confirm", "confirm", "accept_fix", "withdraw_trial", "withdraw_session")
ABOUT_USUAL = ("voltage_unlike_before", "wind_unit_slip", "reference_off")
NOTES = ("", "", "", "", "read by Anna Beispiel", "blades cleaned")


class BenchHistory:
    """Writes at one school's bench, drawn from a seed; `write` does the next one."""

    def __init__(self, world: World, seed: int) -> None:
        self.world, self.school, self.draw = world, world.larch, random.Random(seed)
        self.coach = self.school.coach
        self.trials = [self.school.trial_id]
        self.sessions, self.day = [self.school.session_id], 12
        other = created(
            self.coach.post("/v1/turbines", json={"team_id": self.school.team_id, "name": "Gale"})
        )
        self.turbines = [self.school.turbine_id, other["id"]]
        self.builds = [self.school.build_id, self._build(other["id"])]

    def write(self) -> None:
        """Do one write; some are refused, which changes nothing."""
        usual = (self.submit,) * 14 + (self.bring_in, self.rotor) * 2
        rare = (self.answer, self.next_session, self.late_session, self.next_build, self.correct,
                self.withdraw, self.reinstate, self.sweep_wind)  # fmt: skip
        self.draw.choice(usual + rare)()

    def submit(self, **changed: Any) -> None:
        """Store one trial."""
        answer = self.coach.post("/v1/trials", json=self.drawn_trial(**changed))
        assert answer.status_code in (200, 201, 409, 422), answer.text
        if answer.status_code == 201:
            self.trials.append(answer.json()["id"])

    def bring_in(self) -> None:
        """Store several trials of several builds and sessions."""
        sent = [self.drawn_trial(client_ref=f"in-{self.draw.random()}")
                for _ in range(self.draw.randrange(2, 6))]  # fmt: skip
        answer = self.coach.post("/v1/imports", json={"trials": sent})
        assert answer.status_code in (201, 207, 422), answer.text

    def rotor(self) -> None:
        """Store a run of the reference rotor, which one of three fans drives harder than usual."""
        volts = 1.2 * self.draw.choice((1.0, 1.0, 1.15))
        runs = [{"voltage_v": round(volts * self.draw.gauss(1, 0.005), 3)} for _ in range(3)]
        self.submit(
            kind="reference", build_id=self.world.reference_build_id, load_ohm=30.1, runs=runs
        )

    def sweep_wind(self) -> None:
        """Store a trial of a wind sweep."""
        self.submit(kind="wind", wind_speed_m_s=self.draw.choice((3.0, 3.5, 4.5, 5.0)))

    def next_session(self) -> None:
        """Open a session at a later day."""
        self.day = min(self.day + self.draw.choice((0, 1, 7, 16)), 110)
        self._open(self.day)

    def late_session(self) -> None:
        """Open a session that was held before others."""
        self._open(self.draw.randrange(1, self.day + 1))

    def next_build(self) -> None:
        """Register the next build of a turbine, with or without a change noted."""
        factor = self.draw.choice((None, "pitch", "pitch and load"))
        pitch = self.draw.choice((8.0, 12.0, 16.0))
        turbine = self.draw.choice(self.turbines)
        self.builds.append(self._build(turbine, changed_factor=factor, pitch_deg=pitch))

    def answer(self) -> None:
        """Answer one of the open flags, of usual values first."""
        flags = self.coach.get("/v1/flags?state=open&limit=200").json()["items"]
        flags = [each for each in flags if each["rule"] in ABOUT_USUAL] or flags
        if flags:
            flag = self.draw.choice(flags)
            body = {"answer": self.draw.choice(ANSWERS), "reason": "as it is"}
            self.coach.post(f"/v1/flags/{flag['id']}/answer", json=body)

    def correct(self) -> None:
        """Correct a trial's load or pitch, or move it to another session."""
        changes = self.draw.choice((
            {"load_ohm": self.draw.choice((10.0, 30.1))},
            {"pitch_deg": self.draw.choice((8.0, 12.0))},
            {"session_id": self.draw.choice(self.sessions)},
        ))  # fmt: skip
        self._at_a_trial("corrections", changes=changes)

    def withdraw(self) -> None:
        """Withdraw a trial."""
        self._at_a_trial("withdraw")

    def reinstate(self) -> None:
        """Reinstate a trial, if it is withdrawn."""
        self._at_a_trial("reinstate")

    def drawn_trial(self, **changed: Any) -> dict[str, Any]:
        """Return a trial, mostly sound: one of six has a slip in its volts, wind, load or pitch."""
        draw = self.draw
        pitch, load = draw.choice((8.0, 12.0, 16.0)), draw.choice((30.1, 30.1, 10.0))
        build = draw.choice(self.builds[-3:])
        # Each third build gives nearly twice the power, so that builds jump.
        volts = (1.2, 1.2, 1.6)[self.builds.index(build) % 3]
        volts *= (load / 30.1) ** 0.5 * (1 - 0.02 * abs(pitch - 12)) * draw.gauss(1, 0.02)
        facts: dict[str, Any] = {
            "session_id": draw.choice((*self.sessions[-2:], self.sessions[-1])), "build_id": build,
            "kind": draw.choice(("record", "record", "record", "pitch", "load", "visit")),
            "pitch_deg": pitch, "load_ohm": load, "note": draw.choice(NOTES), "meter_range_v": 20.0,
        }  # fmt: skip
        factor, last = 1.0, 1.0
        slip = draw.randrange(36)
        if slip < 3:
            factor = (10.0, 0.1, 1.3)[slip]
        elif slip < 6:
            last = (0.1, 1.5, 1.0)[slip - 3]
            facts |= {"load_ohm": (load, load, load / 1000)[slip - 3]}
        elif slip < 9:
            facts |= {"wind_speed_m_s": (9.4, 14.4, 4.2)[slip - 6]}
        elif slip == 9:
            facts |= {"pitch_deg": 78.0}
        elif slip < 14:
            facts |= {"wind_speed_m_s": round(draw.gauss(4.2, 0.2), 2)}
        each = (1.0, draw.gauss(1, 0.005), last)
        facts["runs"] = [{"voltage_v": round(volts * factor * ratio, 3)} for ratio in each]
        return trial_payload(self.school, **(facts | changed))

    def _build(self, turbine_id: str, **changed: Any) -> str:
        built_id: str = created(
            self.coach.post("/v1/builds", json=build_payload(turbine_id, **changed))
        )["id"]
        return built_id

    def _open(self, day: int) -> None:
        month, of_month = 3 + day // 28, 1 + day % 28
        facts = {
            "started_at": f"2026-{month:02}-{of_month:02}T{self.draw.choice((10, 14))}:00:00Z",
            "wind_speed_start_m_s": self.draw.choice((4.2, 4.2, 4.1, 4.3, 9.4)),
            "wind_speed_end_m_s": self.draw.choice((None, None, 4.2, 4.6)),
            "air_temperature_c": self.draw.choice((19.0, 19.0, 19.0, 71.0)),
            "note": self.draw.choice(NOTES),
        }
        answer = self.coach.post("/v1/sessions", json=session_payload(self.school, **facts))
        if answer.status_code == 201:
            self.sessions.append(answer.json()["id"])

    def _at_a_trial(self, action: str, **body: Any) -> None:
        path = f"/v1/trials/{self.draw.choice(self.trials)}/{action}"
        answer = self.coach.post(path, json={"reason": "seen again", **body})
        assert answer.status_code in (200, 201, 404, 409, 422), answer.text


def stored_checks(db: Session, season_id: str) -> dict[str, list[tuple[Any, ...]]]:
    """Return what is stored of checks in a season: flags, states of trials and results."""
    db.expire_all()
    flags = select(Flag).where(col(Flag.season_id) == season_id)
    names = ("severity", "facts", "proposed_fix", "seen", "state", "version")
    of_season = col(Trial.season_id) == season_id
    cached = select(CachedResult).join(Trial, col(Trial.id) == col(CachedResult.trial_id))
    return {
        "flags": sorted(
            (str(flag.trial_id or flag.session_id), flag.rule,
             *(repr(getattr(flag, name)) for name in names))
            for flag in db.scalars(flags)
        ),
        "states": sorted(db.execute(select(Trial.id, Trial.state).where(of_season)).all()),
        "results": sorted(
            (row.trial_id, row.formula, row.numbers.hex(), row.reason)
            for row in db.scalars(cached.where(of_season))
        ),
    }  # fmt: skip


def checked_again(db: Session, season_id: str) -> dict[str, list[tuple[Any, ...]]]:
    """Return the same after a check of all trials of the season, which is not stored."""
    rechecks.recheck_season(db, season_id)
    db.flush()
    again = stored_checks(db, season_id)
    db.rollback()
    return again
