"""Answer each request in its language: the one chosen in the browser, or one that it accepts."""

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.messages.languages import languages, preferred, using

#: The cookie with the language that was chosen on a page. The API reads no cookies.
COOKIE = "language"
OF_THE_API = "/v1/"


class AnswerLanguage:
    """Pure ASGI around all answers with texts."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, and name the language of the answer."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        is_page = not scope["path"].startswith(OF_THE_API)
        language = language_of(scope, is_page=is_page)

        async def named(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["content-language"] = language
                headers.add_vary_header("Accept-Language, Cookie" if is_page else "Accept-Language")
            await send(message)

        with using(language):
            await self.app(scope, receive, named)


def language_of(scope: Scope, *, is_page: bool) -> str:
    """Return the language for the answer to a request."""
    headers = Headers(scope=scope)
    chosen = chosen_language(headers) if is_page else ""
    return chosen or preferred(headers.get("accept-language", ""))


def chosen_language(headers: Headers) -> str:
    """Return the language that was chosen in a browser, or an empty text."""
    cookies = cookie_parser(headers.get("cookie", ""))
    language = cookies.get(COOKIE, "")
    return language if language in languages() else ""
