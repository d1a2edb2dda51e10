"""All resources of the API, in the order in which their addresses are matched."""

from api.routes import (
    benches,
    builds,
    comparison,
    equipment,
    events,
    exports,
    flags,
    history,
    imports,
    keys,
    meta,
    organisations,
    progress,
    reports,
    results,
    seasons,
    sessions,
    teams,
    templates,
    trials,
    turbines,
    webhooks,
)

#: Resources that take files; the bodies of the others are small.
FILES = (exports.router, imports.router)
RESOURCES = (
    trials.router,  # first, as most requests are for it, and each router before it is asked
    seasons.router,
    organisations.router,
    keys.router,
    teams.router,
    equipment.router,
    equipment.loans_router,
    turbines.router,
    builds.router,
    benches.router,
    sessions.router,
    reports.router,
    results.router,
    comparison.router,
    progress.router,
    events.router,
    flags.router,
    history.router,
    webhooks.router,
    templates.router,
    meta.router,
)
