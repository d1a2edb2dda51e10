"""Choose the language of all pages in this browser."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from api.messages.answering import COOKIE
from api.messages.languages import languages
from api.web.visitors import go_to, local_path, require_same_origin, store_in_browser

router = APIRouter()
MOST_BYTES = 2_000
A_YEAR_S = 365 * 86_400


async def chosen(request: Request) -> tuple[str, str]:
    """Return the language that was chosen, and the page to go back to."""
    require_same_origin(request)
    async with request.form(max_files=0, max_fields=5, max_part_size=MOST_BYTES) as form:
        return str(form.get("language", "")), local_path(str(form.get("back", "")), "/")


@router.post("/language", max_body_size=MOST_BYTES)
def choose_language(
    request: Request, choice: Annotated[tuple[str, str], Depends(chosen)]
) -> Response:
    """Store the choice in this browser; any other value means the browser's own setting."""
    language, back = choice
    answer = go_to(back)
    store_in_browser(answer, request, COOKIE, language if language in languages() else "", A_YEAR_S)
    return answer
