"""All pages, in the order their addresses are tried in."""

from api.pages import (
    bench_pages,
    downloads,
    equipment_pages,
    event_pages,
    event_run_pages,
    import_pages,
    overview,
    question_pages,
    reference,
    sharing,
    sign_in,
    things,
    trial_form,
    trial_pages,
)

#: Pages that take whole files.
FILE_PAGES = (import_pages.router,)
#: Forms for new things come first: `/teams/new` is no team's page.
PAGES = tuple(
    module.router
    for module in (
        sign_in,
        reference,
        things,
        trial_form,
        downloads,
        overview,
        question_pages,
        bench_pages,
        equipment_pages,
        event_pages,
        event_run_pages,
        sharing,
        trial_pages,
    )
)
