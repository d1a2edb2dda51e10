"""Cache answers, so that the service does not send again what has not changed."""

import httpx

MOST_ANSWERS = 64


class AnswerCache:
    """The newest answers that have an ETag, by address."""

    def __init__(self) -> None:
        self._answers: dict[str, httpx.Response] = {}

    def condition(self, address: str) -> dict[str, str]:
        """Return the header that asks for an answer only if it has changed."""
        cached = self._answers.get(address)
        return {} if cached is None else {"If-None-Match": cached.headers["ETag"]}

    def newest(self, address: str, answer: httpx.Response) -> httpx.Response:
        """Return the answer, or the cached one if it has not changed (304)."""
        cached = self._answers.pop(address, None)
        if answer.status_code == httpx.codes.NOT_MODIFIED and cached is not None:
            answer = cached
        if "ETag" in answer.headers:
            self._answers[address] = answer
        if len(self._answers) > MOST_ANSWERS:
            self._answers.pop(next(iter(self._answers)))
        return answer
