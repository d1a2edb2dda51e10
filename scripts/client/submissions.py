"""Submit trials, one by one or as files, and answer the questions that they raise."""

import json
from collections.abc import Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import Any, Literal

from .calls import Calls, Thing
from .errors import WrongUse

Answer = Literal["accept_fix", "confirm", "withdraw_trial"]
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
WORKBOOK_BEGINS = b"PK"


class Submissions(Calls):
    """What a coach sends to a service; sent again, it is stored once."""

    def submit_trial(
        self, *, session_id: str, build_id: str, runs: Sequence[Mapping[str, float]], **facts: Any
    ) -> Thing:
        """Store one trial of a session; return it with its result and its questions.

        `runs` are the readings, such as ``[{"voltage_v": 1.2}, {"voltage_v": 1.19}]``. `facts` are
        the other fields: `kind` (by default "record"), `load_ohm`, `load_connected`, `pitch_deg`,
        `wind_speed_m_s`, … A field may come in another unit, such as `wind_speed_mph`.

        Raises
        ------
        Refused
            If a value cannot be right; it lists every fault with its field.

        Examples
        --------
        >>> session, build = next(gustbook.sessions()), next(gustbook.builds())
        >>> gustbook.submit_trial(session_id=session["id"], build_id=build["id"], load_ohm=-22.0,
        ...                       load_connected=True, runs=[{"voltage_v": 1.2}])
        Traceback (most recent call last):
        client.errors.Refused: 422 Some values cannot be accepted:
          /load_ohm must be between 0.05 and 1e+06 Ω
        """
        trial = {"kind": "record"} | facts
        trial |= {"session_id": session_id, "build_id": build_id, "runs": [*map(dict, runs)]}
        stored: Thing = self.post("/v1/trials", trial)
        return stored

    def submit_file(
        self,
        file: str | PathLike[str] | bytes,
        *,
        dry_run: bool = False,
        partial: bool = False,
        mapping: str | Mapping[str, Any] | None = None,
        **parameters: Any,
    ) -> Thing:
        r"""Store the trials of a CSV or XLSX file, or of its bytes; the same file changes nothing.

        With `dry_run` nothing is stored. The answer says how the file was read (`understood`), how
        many trials are new, unchanged or wrong (`trials`), and has each row with its `errors` (see
        `Fault.of`) and the sentences of its questions (`flags`). With `partial` the good rows are
        stored even if others are wrong. `mapping` says what the file does not say itself, such as
        ``{"same": {"bench": "Hall fan", "adult_present": "yes"}}``; `decimal` is "point" or
        "comma"; `season_id` tells teams of the same name apart; `warnings="refuse"` stores nothing
        while there is a question.

        Raises
        ------
        WrongUse
            If the file cannot be opened.
        Refused
            If it cannot be understood, or if rows are wrong and `partial` is not asked for.

        Examples
        --------
        >>> sheet = b"team;voltage_v;adult_present\nLarch;1,l9;yes\n"
        >>> tried = gustbook.submit_file(sheet, dry_run=True)
        >>> tried["trials"]["created"], tried["rows"][0]["outcome"]
        (0, 'error')
        """
        content = file if isinstance(file, bytes) else _content_of(Path(file))
        reading = {
            "dry_run": dry_run or None,
            "mode": "partial" if dry_run or partial else "all",
            "mapping": json.dumps(mapping) if isinstance(mapping, Mapping) else mapping,
        }
        kind = WORKBOOK if content.startswith(WORKBOOK_BEGINS) else "text/csv"
        headers = {"Content-Type": kind}
        outcome: Thing = self.request(
            "POST", "/v1/imports", params=reading | parameters, content=content, headers=headers
        ).json()
        return outcome

    def answer(self, flag: Thing | str, answer: Answer, reason: str | None = None) -> Thing:
        """Answer a question (a flag, or its id); return it as it is then.

        "accept_fix" accepts the suggested value, "confirm" keeps the value, and "withdraw_trial"
        withdraws the trial; the last two need a reason of a few words, without names of pupils.

        Raises
        ------
        Refused
            If nothing is suggested, if the reason is missing, or if the flag was answered before.

        Examples
        --------
        >>> flag = next(gustbook.flags(severity="hold", state="open"))
        >>> gustbook.answer(flag, "confirm", "read once more with the team: it is right")["state"]
        'confirmed'
        """
        flag_id = flag if isinstance(flag, str) else flag["id"]
        body = {"answer": answer} | ({"reason": reason} if reason is not None else {})
        answered: Thing = self.post(f"/v1/flags/{flag_id}/answer", body)
        return answered


def _content_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise WrongUse(f"{path}: {error.strerror}") from error
