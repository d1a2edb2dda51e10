"""Compare the season's fit with two others: a mixed model, and a full Bayesian fit.

Usage: python -m tests.bench.second_opinion [SEED]

Draws one season of the calibration. The mixed model is statsmodels', by restricted maximum
likelihood; the season's fit takes its spreads, so that effects and standard errors are to be the
same. The Bayesian fit is NumPyro's, with the priors of `analysis.comparison` on spreads and
exponents: it does not plug in an estimate of the spreads, so that it shows what that leaves out.
Needs the `bench` packages.
"""

import sys
from itertools import combinations

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
from numpyro.diagnostics import summary
from numpyro.infer import MCMC, NUTS

from analysis.comparison.design import Spread
from analysis.comparison.fit import SeasonFit, fit_season
from analysis.comparison.solver import INTERACTION_PRIOR_SD, PRIOR_SD
from analysis.numeric.groups import group_by
from tests.bench.calibration.comparison import columns_of
from tests.bench.calibration.scenarios import Scenario
from tests.bench.calibration.seasons import drawn
from tests.reliability.places import print_table
from tests.support.mixed_model import mixed_model

SEASON = Scenario("second opinion", visitors=1)
WARM_UP, SAMPLES, CHAINS = 1_000, 2_000, 2
Difference = tuple[float, float]  # of ln power, with its standard uncertainty


def main(arguments: list[str]) -> None:
    """Print how far the fits are apart."""
    season = drawn(SEASON, int(arguments[0]) if arguments else 1)
    trials, _, _ = columns_of(season)
    pairs = list(combinations(season.current, 2))
    plain = {name: column for name, column in trials.items() if "exponent" not in name}
    mixed = mixed_model(plain)
    spread = Spread(**{name: mixed.spread[name] for name in
                       ("team", "build", "bench", "session", "interaction")})  # fmt: skip
    same = fit_season(plain | {"u_own": np.full(len(plain["log_power"]), mixed.spread["residual"])},
                      spread=spread)  # fmt: skip
    fit = fit_season(trials)
    bayes = _bayesian(trials, season.current)
    rows = [
        _row("mixed model, same spreads", _of(same, pairs),
             {pair: mixed.difference(*pair) for pair in pairs}),
        _row("full Bayesian fit", _of(fit, pairs), {pair: bayes(pair) for pair in pairs}),
    ]  # fmt: skip
    print_table(f"The season's fit against two others, {len(pairs)} pairs of builds", rows)


def _of(fit: SeasonFit, pairs: list[tuple[str, str]]) -> dict[tuple[str, str], Difference]:
    u = fit.u_of_pairs(pairs)
    return {(a, b): (fit.effects[a] - fit.effects[b], float(each))
            for (a, b), each in zip(pairs, u, strict=True)}  # fmt: skip


def _row(name: str, ours: dict, other: dict) -> dict[str, str]:
    """Return how far effects are apart in standard errors, and the ratio of standard errors."""
    apart = np.array([(ours[pair][0] - other[pair][0]) / other[pair][1] for pair in ours])
    ratio = np.array([ours[pair][1] / other[pair][1] for pair in ours])
    return {
        "compared with": name,
        "effects apart, of a standard error": f"{np.sqrt(np.mean(apart**2)):.4f}",
        "at most": f"{np.abs(apart).max():.4f}",
        "standard errors, ours to theirs": f"{np.median(ratio):.4f}",
        "from": f"{ratio.min():.4f}",
        "to": f"{ratio.max():.4f}",
    }


def _bayesian(trials: dict[str, np.ndarray], current: list[str]):
    """Return a function that gives the difference of a pair of builds by the Bayesian fit."""
    codes = {name: group_by(trials[f"{name}_id"]) for name in ("team", "build", "bench", "session")}
    pair = group_by(codes["build"].codes * codes["bench"].size + codes["bench"].codes)
    owner = group_by(np.where(trials["team_id"] == "", trials["build_id"], trials["team_id"]))
    is_rotor = trials["team_id"] == ""
    y, u = jnp.asarray(trials["log_power"]), jnp.asarray(trials["u_own"])
    levers = _levers(trials, owner, codes["bench"])
    usual = Spread()
    wide = np.where(group_rotor(codes["build"], is_rotor), usual.reference, usual.build)

    def model() -> None:
        session = numpyro.sample("session", dist.LogNormal(np.log(usual.session), PRIOR_SD))
        residual = numpyro.sample("residual", dist.LogNormal(0.0, PRIOR_SD))
        interaction = numpyro.sample(
            "interaction", dist.LogNormal(np.log(usual.interaction), INTERACTION_PRIOR_SD)
        )
        mean = numpyro.sample("mean", dist.Normal(-3.0, usual.mean))
        z = {
            name: numpyro.sample(f"z_{name}", dist.Normal(0, 1).expand([group.size]))
            for name, group in {**codes, "pair": pair, "wind": owner, "air": owner}.items()
        }
        build = jnp.asarray(wide) * z["build"]
        team = usual.team * z["team"]
        strength = mean + build[codes["build"].codes]
        strength += jnp.where(is_rotor, 0.0, team[codes["team"].codes])
        fits = (
            strength + usual.bench * z["bench"][codes["bench"].codes]
            + session * z["session"][codes["session"].codes]
            + interaction * z["pair"][pair.codes]
            + levers["u_wind_exponent"] * z["wind"][owner.codes]
            + levers["u_density_exponent"] * z["air"][owner.codes]
        )  # fmt: skip
        numpyro.deterministic("strength", strength)
        numpyro.sample("y", dist.Normal(fits, residual * u), obs=y)

    sampler = MCMC(NUTS(model, target_accept_prob=0.9), num_warmup=WARM_UP, num_samples=SAMPLES,
                   num_chains=CHAINS, chain_method="sequential", progress_bar=False)  # fmt: skip
    sampler.run(jax.random.PRNGKey(1))
    worst = max(float(np.max(each["r_hat"])) for each in summary(
        sampler.get_samples(group_by_chain=True)).values())  # fmt: skip
    print(f"largest split R-hat {worst:.3f}")
    samples = np.asarray(sampler.get_samples()["strength"])
    first = {build: int(np.flatnonzero(trials["build_id"] == build)[0]) for build in current}

    def difference(pair: tuple[str, str]) -> Difference:
        one, other = (samples[:, first[build]] for build in pair)
        return float(np.mean(one - other)), float(np.std(one - other))

    return difference


def _levers(trials: dict[str, np.ndarray], owner, benches) -> dict[str, jax.Array]:
    """Return what one standard deviation of each exponent moves a team's trials by at its bench."""
    here = group_by(owner.codes * benches.size + benches.codes)
    return {name: jnp.asarray(here.mean(trials[name])[here.codes])
            for name in ("u_wind_exponent", "u_density_exponent")}  # fmt: skip


def group_rotor(builds, is_rotor: np.ndarray) -> np.ndarray:
    """Return a mask of the builds that are reference rotors."""
    return builds.largest(is_rotor.astype(float)) > 0


if __name__ == "__main__":
    numpyro.enable_x64()
    main(sys.argv[1:])
