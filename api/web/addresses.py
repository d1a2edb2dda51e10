"""All pages, in the order in which their addresses are matched."""

from api.web.registration import things
from api.web.views import (
    api_reference,
    assets,
    benches,
    builds,
    compare,
    downloads,
    equipment,
    event_runs,
    events,
    handouts,
    imports,
    language,
    problems,
    questions,
    school_sign_in,
    schools,
    season,
    shared_links,
    sharing,
    sign_in,
    styleguide,
    teams,
    today,
    trial_form,
    trials,
)

#: Pages that take files.
FILE_PAGES = (imports.router,)
#: Pages of a programme in which people sign in with a school account.
SCHOOL_ACCOUNT_PAGES = (school_sign_in.router,)
#: Forms for new things come first: `/teams/new` is not a team's page.
PAGES = tuple(
    module.router
    for module in (
        sign_in,
        language,
        assets,
        api_reference,
        problems,
        things,
        trial_form,
        handouts,
        downloads,
        today,
        season,
        compare,
        schools,
        teams,
        builds,
        questions,
        benches,
        equipment,
        events,
        event_runs,
        sharing,
        shared_links,
        styleguide,
        trials,
    )
)
