"""Build trials at several benches, and their design with a column for each term."""

import numpy as np


def travelling(draw, trials=60):
    """Return ids of trials at three benches, some builds at one of them and some at all."""
    bench = draw.integers(0, 3, trials)
    build = np.where(draw.random(trials) < 0.3, 100 + draw.integers(0, 2, trials),
                     10 * bench + draw.integers(0, 3, trials))  # fmt: skip
    team = np.where(build == 101, "", np.char.mod("t%d", build // 2))
    session = np.where(draw.random(trials) < 0.1, "everywhere", np.char.mod("s%d", bench * 2))
    # Winds differ from bench to bench, and air hardly.
    wind, air = draw.normal(0, 0.1, 3), draw.normal(0, 0.02, 3)
    return {"team_id": team, "build_id": np.char.mod("b%d", build),
            "bench_id": np.char.mod("k%d", bench), "session_id": session,
            "u_wind_exponent": wind[bench], "u_density_exponent": air[bench]}  # fmt: skip


def written_out(trials, spread):
    """Return the design with a column for each term of each kind, and the prior variances."""
    pair = np.char.add(trials["build_id"], trials["bench_id"])
    kinds = [("team", trials["team_id"]), ("build", trials["build_id"]),
             ("bench", trials["bench_id"]), ("session", trials["session_id"]),
             ("interaction", pair)]  # fmt: skip
    columns, variances, names = [np.ones(len(pair))], [spread.mean**2], [("mean", "")]
    references = set(trials["build_id"][np.asarray(trials["team_id"]) == ""])
    for kind, labels in kinds:
        for label in np.unique(labels[labels != ""]):
            columns.append((labels == label).astype(float))
            is_free = kind == "build" and label in references
            variances.append((spread.reference if is_free else getattr(spread, kind)) ** 2)
            names.append((kind, str(label)))
    owner = np.where(trials["team_id"] == "", trials["build_id"], trials["team_id"])
    for column in ("u_wind_exponent", "u_density_exponent"):
        for label in np.unique(owner) if column in trials else ():
            columns.append((owner == label) * trials[column])
            variances.append(1.0)
            names.append((column, str(label)))
    return np.column_stack(columns), np.array(variances), names


def one_bench(*moved, builds=4, sessions=5):
    """Return a season at one bench; `moved` are places of trials, and by how much each is off."""
    draw = np.random.default_rng(4)
    rows = [(f"b{at}", f"t{at}", "k", f"s{week}") for week in range(sessions)
            for at in range(builds) for _ in range(2)]  # fmt: skip
    build, team, bench, session = map(np.array, zip(*rows, strict=True))
    y = -3 + draw.normal(0, 0.03, len(rows))
    for place, off in moved:
        y[place] += off
    return {"build_id": build, "team_id": team, "bench_id": bench, "session_id": session,
            "log_power": y, "u_own": np.full(len(rows), 0.03)}  # fmt: skip
