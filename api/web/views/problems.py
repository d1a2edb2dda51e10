"""A page for each kind of refusal: what it means, and what the sender can do."""

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from api.errors import NotFound, refusal_kinds, title_of
from api.messages import say
from api.web import rendering

router = APIRouter(include_in_schema=False)


@router.get("/problems/{slug}")
def problem_page(slug: str) -> HTMLResponse:
    """Show what the `type` of a problem means."""
    kinds = refusal_kinds()
    if slug not in kinds:
        raise NotFound(say("refused.no_problem", slug=slug[:60], listed=", ".join(sorted(kinds))))
    return rendering.show(
        "problem.html",
        title=title_of(slug),
        http_status=kinds[slug],
        advice=say(f"problem_advice.{slug.replace('-', '_')}"),
        others=[(each, title_of(each)) for each in sorted(kinds) if each != slug],
    )
