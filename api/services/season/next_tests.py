"""Suggest the next test of a team: its newest build, then its pitch, then its load."""

from collections.abc import Container, Sequence

from analysis.pitch import next_pitch
from api.models.registry.builds import Build
from api.models.season.progress import LoadRead, NextTest, PitchRead, PlateauRead
from api.services.core import wording


def next_test(
    builds: Sequence[Build],
    measured: Container[str],
    pitch: Sequence[PitchRead],
    load: Sequence[LoadRead],
    plateau: PlateauRead,
) -> NextTest:
    """Return the one thing to test next."""
    if not builds:
        return _test("record", None, "next.record", number=1)
    newest = max(builds, key=lambda build: (build.created_at, build.number))
    if newest.id not in measured:
        return _test("record", float(newest.number), "next.record", number=newest.number)
    swept = next((each for each in pitch if each.build_id == newest.id), None)
    if swept is None:
        return _start_pitch(newest, builds, pitch)
    if not swept.bracketed:
        return _test("pitch", swept.next_pitch_deg, "next.pitch")
    if not any(each.build_id == newest.id for each in load):
        key = "next.load" if newest.load_ohm is not None else "next.load_in_use"
        return _test("load", newest.load_ohm, key)
    if plateau.status == "reached":
        return _test("other", None, "next.other_factor")
    return _test("repeat", None, "next.repeat")


def _test(factor: str, value: float | None, key: str, **words: object) -> NextTest:
    sentence = wording.statement(key, value=value, **words)
    return NextTest.model_validate({"factor": factor, "value": value} | sentence)


def _start_pitch(newest: Build, builds: Sequence[Build], pitch: Sequence[PitchRead]) -> NextTest:
    """Return the first pitch of a sweep: the best pitch of the turbine's last build, if known."""
    turbine_of = {build.id: build.turbine_id for build in builds}
    optima = [
        each
        for each in pitch
        if each.best_pitch_deg is not None and turbine_of[each.build_id] == newest.turbine_id
    ]
    if not optima:
        value = newest.pitch_deg or next_pitch([], [])
        return _test("pitch", value, "next.start_pitch")
    last = max(optima, key=lambda each: each.number)
    best = last.best_pitch_deg
    return _test("pitch", best, "next.start_pitch_before", before=last.number)
