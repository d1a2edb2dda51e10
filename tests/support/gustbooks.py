"""The scripts' client with a service inside a test: the real application, or a simulated one."""

import httpx
from client import Gustbook


class InsideTest(httpx.BaseTransport):
    """Send requests to the application of a test client, in its own process."""

    def __init__(self, client):
        self._client = client

    def handle_request(self, request):
        answer = self._client.request(
            request.method, str(request.url), content=request.read(),
            headers=request.headers.multi_items(),
        )  # fmt: skip
        headers = answer.headers.multi_items()
        return httpx.Response(answer.status_code, headers=headers, content=answer.content)


def gustbook_of(client):
    """Return a client for scripts with the key of a test client."""
    key = client.headers["Authorization"].removeprefix("Bearer ")
    return Gustbook(str(client.base_url), key, transport=InsideTest(client))


class SimulatedService:
    """A simulated service that answers in turn and remembers what it was asked.

    An answer is a status and a body, with headers if there are any; or an exception.
    """

    def __init__(self, *answers):
        self.answers, self.asked = list(answers), []

    def __call__(self, request):
        self.asked.append(request)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        status, body, *headers = answer
        return httpx.Response(status, json=body, headers=headers[0] if headers else None)

    def client(self):
        return Gustbook("http://gustbook.test", "key", transport=httpx.MockTransport(self))
