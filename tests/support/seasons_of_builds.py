"""Small invented seasons as columns for the season's fit."""

import numpy as np

LETTERS = "abcdefghij"


def two_schools(benches=2, sessions=4):
    """Return one build of one team at each bench, and a reference rotor that visits all of them.

    Each build is 0.1 weaker than the one before, in ln power.
    """
    rows = [
        (build, team, f"bench {at}", f"session {at} {day}", level + 0.01 * (-1) ** day)
        for at in range(benches)
        for build, team, level in ((LETTERS[at], f"team {at}", -3.0 - 0.1 * at), ("ref", "", -2.8))
        for day in range(sessions)
    ]
    names = ("build_id", "team_id", "bench_id", "session_id", "log_power")
    columns = (np.array(column) for column in zip(*rows, strict=True))
    return dict(zip(names, columns, strict=True)) | {"u_own": np.full(len(rows), 0.03)}
