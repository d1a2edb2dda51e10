"""What a team does best to test next: know the newest build, then its pitch, then its load."""

from collections.abc import Container, Sequence

from analysis.pitch import next_pitch
from api.models.builds import Build
from api.models.progress import LoadRead, NextTest, PitchRead
from api.services import wording


def next_test(
    builds: Sequence[Build],
    measured: Container[str],
    pitch: Sequence[PitchRead],
    load: Sequence[LoadRead],
) -> NextTest:
    """Return the one thing to test next."""
    if not builds:
        return _record(1, None)
    newest = max(builds, key=lambda build: (build.created_at, build.number))
    if newest.id not in measured:
        return _record(newest.number, float(newest.number))
    swept = next((each for each in pitch if each.build_id == newest.id), None)
    if swept is None:
        return _start_pitch(newest, builds, pitch)
    if not swept.bracketed:
        words = wording.NEXT["pitch"].format(value=swept.next_pitch_deg)
        return NextTest(factor="pitch", value=swept.next_pitch_deg, sentence=words)
    if not any(each.build_id == newest.id for each in load):
        words = wording.next_load(newest.load_ohm)
        return NextTest(factor="load", value=newest.load_ohm, sentence=words)
    return NextTest(factor="repeat", value=None, sentence=wording.NEXT["repeat"])


def _record(number: int, value: float | None) -> NextTest:
    words = wording.NEXT["record"].format(number=number)
    return NextTest(factor="record", value=value, sentence=words)


def _start_pitch(newest: Build, builds: Sequence[Build], pitch: Sequence[PitchRead]) -> NextTest:
    """Return where to begin a sweep: at the best pitch of the turbine's build before, if known."""
    turbine_of = {build.id: build.turbine_id for build in builds}
    known = [
        each
        for each in pitch
        if each.best_pitch_deg is not None and turbine_of[each.build_id] == newest.turbine_id
    ]
    if not known:
        value = newest.pitch_deg or next_pitch([], [])
        return NextTest(factor="pitch", value=value, sentence=wording.start_pitch(value))
    before = max(known, key=lambda each: each.number)
    words = wording.start_pitch(before.best_pitch_deg, before.number)
    return NextTest(factor="pitch", value=before.best_pitch_deg, sentence=words)
