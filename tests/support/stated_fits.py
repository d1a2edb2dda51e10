"""Build fits of a season from stated differences and uncertainties, without trials."""

from types import SimpleNamespace

import numpy as np


def stated_fit(difference=0.0, u=0.1, groups=(("a", "b"),), benches=()):
    """Return a fit with this difference between two builds, and only the fields that are read."""
    names, effects, uncertainties = zip(*benches, strict=True) if benches else ((), (), ())
    return SimpleNamespace(
        effects={"a": difference, "b": 0.0},
        covariance_of=lambda builds: np.diag([u**2 / 2] * len(builds)),
        groups=groups,
        build_ids=[build for group in groups for build in group],
        group_of={build: i for i, group in enumerate(groups) for build in group},
        bench_ids=names,
        bench_group=dict.fromkeys(names, 0),
        bench_effect=effects,
        bench_u=uncertainties,
        bench_u_from_mean=lambda: uncertainties,
        u_of_readings=lambda build_id, bench_ids: np.array(
            [dict(zip(names, uncertainties, strict=True))[each] for each in bench_ids]
        ),
    )
