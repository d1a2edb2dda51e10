"""What can go wrong, in words: one small tree of errors.

* GustbookError      all of these
  - WrongUse         the call cannot work: an address, a file, a library that is not installed
  - KeyNotAccepted   no access key, a wrong one, or one that does not permit this (401, 403)
  - Refused          the service does not accept the request (any other status from 400 to 499)
    - NotFound       nothing that the key may see has this id or name (404)
  - Unavailable      the service cannot be reached, is busy, or has failed (429, 500 and more)
"""

from collections.abc import Sequence
from typing import ClassVar

import httpx

from .faults import Fault
from .retries import retry_after_s

FAULTS_SHOWN = 30
NO_REASON = "no reason given; is this the address of a Gustbook service?"


class GustbookError(Exception):
    """What the service refused, or why it could not be asked.

    Parameters
    ----------
    sentence
        What happened and what to do, in one or two sentences.
    status
        The HTTP status, such as 422; None if there was no answer.
    code
        The service's short name for the kind of problem, such as "not-found".
    title
        The kind of problem in words, such as "Not found".
    faults
        Each thing that is wrong, with its place; of very many, the first thousand.
    fault_count
        How many things are wrong.

    Examples
    --------
    >>> print(Refused("1 row is wrong", status=422, title="Invalid",
    ...               faults=[Fault("is not a number", row=3, column="voltage_v")]))
    422 Invalid: 1 row is wrong
      row 3, column voltage_v: is not a number.
    """

    #: What a script ends with after such an error.
    exit_code: ClassVar[int] = 1

    def __init__(
        self,
        sentence: str,
        *,
        status: int | None = None,
        code: str = "",
        title: str = "",
        faults: Sequence[Fault] = (),
        fault_count: int = 0,
    ) -> None:
        super().__init__(sentence)
        self.sentence, self.status, self.code, self.title = sentence, status, code, title
        self.faults = list(faults)
        self.fault_count = max(fault_count, len(self.faults))

    def __str__(self) -> str:
        head = " ".join(filter(None, [str(self.status or ""), self.title]))
        lines = [f"{head}: {self.sentence}" if head else self.sentence]
        listed = [each for each in self.faults if each.hint or each.detail not in self.sentence]
        lines += [f"  {fault}" for fault in listed[:FAULTS_SHOWN]]
        others = self.fault_count - FAULTS_SHOWN
        return "\n".join([*lines, f"  … and {others} more"] if others > 0 else lines)


class Refused(GustbookError):
    """The service does not accept the request; each fault has its place."""


class NotFound(Refused):
    """Nothing that the key may see has this id or name."""


class WrongUse(GustbookError):
    """The call cannot work, whatever the service says."""

    exit_code = 2


class KeyNotAccepted(GustbookError):
    """There is no access key, it is wrong or expired, or it does not permit this."""

    exit_code = 3


class Unavailable(GustbookError):
    """The service cannot be reached, is busy, or has failed."""

    exit_code = 4
    #: Seconds after which the service wants to be asked again; None if it does not say.
    retry_after_s: float | None = None


def refusal_of(answer: httpx.Response) -> GustbookError:
    """Return the error for an answer that is no success."""
    try:
        body = answer.json()
    except ValueError:
        body = None
    problem = body if isinstance(body, dict) else {}
    listed, count = problem.get("errors"), problem.get("error_count")
    # Another service or a proxy may answer with anything under these names.
    of_form = (
        [each for each in listed if isinstance(each, dict)] if isinstance(listed, list) else []
    )
    faults = [Fault.of(each) for each in of_form]
    error = _class_for(answer.status_code)(
        str(problem.get("detail") or NO_REASON),
        status=answer.status_code,
        code=str(problem.get("type", "")).rpartition("/")[2],
        title=str(problem.get("title", "")),
        faults=faults,
        fault_count=count if isinstance(count, int) else len(faults),
    )
    if isinstance(error, Unavailable):
        error.retry_after_s = retry_after_s(answer.headers.get("Retry-After", ""))
    return error


def _class_for(status: int) -> type[GustbookError]:
    if status in (401, 403):
        return KeyNotAccepted
    if status == 429 or status >= 500:
        return Unavailable
    return NotFound if status == 404 else Refused
