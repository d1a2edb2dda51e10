#!/usr/bin/env python3
# /// script
# requires-python = ">=3.11"
# dependencies = ["httpx>=0.28,<0.29"]
# ///
"""Submit files of trials to Gustbook: tried first, then stored.

Each FILE is a table of runs as CSV (comma, semicolon or tab between cells, point or comma as the
decimal sign). It is first only tried: wrong rows are named by row and column. Then it is stored,
each trial once, however often the same file is sent.

The access key is read from the variable GUSTBOOK_KEY, or from the file named by GUSTBOOK_KEY_FILE
(default ~/.config/gustbook/key), which only you may be able to read. It is never an argument.
The service's address is GUSTBOOK_URL (default http://127.0.0.1:8000), or --url.
"""

import argparse
import csv
import io
import secrets
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from client import (
    OK,
    REFUSED,
    USAGE,
    Stop,
    add_url,
    ask,
    error_message,
    find_season,
    open_client,
    read_key,
    require_ok,
)

EXAMPLES = """\
examples:
  submit_trials.py larch.csv                 try, then store all of it or nothing
  submit_trials.py --partial larch.csv       store the good rows, write the others to
                                             larch.refused.csv with a column 'problem'
  submit_trials.py --dry-run larch.csv       only try

exit codes: 0 stored or unchanged, 1 rows refused, 2 wrong use, 3 key not accepted, 4 service
not reached or not able
"""
ROWS_SHOWN = 30
WORKBOOK = b"PK"  # how an .xlsx begins
LOOKS_SHOWN = 3  # flagged trials that are not held, after those that are
FLAGS_SHOWN = 3  # of one trial; only the number of the others is shown


@dataclass(frozen=True)
class SubmitOptions:
    """Options of a submission."""

    partial: bool = False
    dry_run: bool = False
    refused_folder: Path | None = None
    review: bool = False
    unsure: bool = False
    decimal: str | None = None
    season_id: str | None = None
    mapping: str | None = None

    @property
    def parameters(self) -> dict[str, str]:
        """Return the query parameters that each request about the file has."""
        values = {"decimal": self.decimal, "season_id": self.season_id, "mapping": self.mapping}
        return {name: value for name, value in values.items() if value}


def submit_file(client: Any, path: Path, how: SubmitOptions) -> bool:
    """Try a file, then store it; return whether every row was accepted."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise Stop(USAGE, f"{path}: {error.strerror}") from error
    tried = _send(client, content, how.parameters | {"dry_run": "true", "mode": "partial"})
    print(f"{path.name}: {_understood(tried)}")
    _show_unread(tried["understood"])
    if not tried["rows"]:
        print("  it holds no rows to submit")
        return True
    wrong = [row for row in tried["rows"] if row["outcome"] == "error"]
    _show_wrong(wrong)
    _show_flags(tried["rows"])
    print(f"  tried: {_counts(tried['trials'])}")
    if how.dry_run:
        return not wrong
    stem = path.stem.removesuffix(".refused")
    target = (how.refused_folder or path.parent) / f"{stem}.refused.csv"
    if wrong and content.startswith(WORKBOOK):
        if not how.partial:
            print("  nothing stored: correct these rows in the workbook and submit again")
            return False
    elif wrong and not how.partial:
        refused = _write_refused(target, content, wrong)
        print(f"  nothing stored: correct these rows (also in {refused.name}) and submit again")
        return False
    once = {"Idempotency-Key": secrets.token_hex(16)}  # a retry after a lost answer stores once
    parameters = how.parameters | {"mode": "partial" if how.partial else "all"}
    if how.unsure:
        parameters["warnings"] = "refuse"
    done = _send(client, content, parameters, once)
    print(f"  stored: {_counts(done['trials'])}; import {done['id']}")
    if wrong and not content.startswith(WORKBOOK):
        print(f"  the refused rows are in {_write_refused(target, content, wrong).name}")
    if how.review:
        review(client, {row["id"] for row in done["rows"] if row["state"] == "held"})
    return not wrong


def review(client: Any, trial_ids: set[str]) -> None:
    """Ask for an answer to each open question that holds one of these trials."""
    asked: set[str] = set()
    for trial_id in sorted(trial_ids):
        trial = require_ok(ask(client, "GET", f"/v1/trials/{trial_id}")).json()
        for flag in trial["flags"]:
            if flag["severity"] == "hold" and flag["state"] == "open" and flag["id"] not in asked:
                asked.add(flag["id"])
                _answer(client, trial, flag)


def _answer(client: Any, trial: dict[str, Any], flag: dict[str, Any]) -> None:
    """Show a flag and send the answer from the keyboard; an empty line leaves the flag open."""
    fix = flag["proposed_fix"] or {}
    can_fix = bool(fix)
    print(f"\n  trial {trial['client_ref'] or trial['id']}: {flag['message']}")
    print(f"  {flag['advice']}")
    choices = ("a = accept the change, " if can_fix else "") + "c = it is right, w = withdraw"
    choice = input(f"  {choices}, empty = later: ").strip().lower()[:1]
    answers = {"c": "confirm", "w": "withdraw_trial"} | ({"a": "accept_fix"} if can_fix else {})
    if choice not in answers:
        print("  left for later")
        return
    body = {"answer": answers[choice]}
    if choice != "a":
        body["reason"] = input("  why (a few words): ").strip()
    answer = ask(client, "POST", f"/v1/flags/{flag['id']}/answer", json=body)
    print("  " + ("done" if answer.status_code == 200 else error_message(answer)))


def _send(
    client: Any, content: bytes, parameters: dict[str, str], headers: dict[str, str] | None = None
) -> Any:
    """Send a file as an import; return the service's answer."""
    all_headers = {"Content-Type": "text/csv"} | (headers or {})
    answer = ask(
        client, "POST", "/v1/imports", params=parameters, content=content, headers=all_headers
    )
    if answer.status_code == 422:
        _stop_at_file(answer)
    return require_ok(answer).json()


def _stop_at_file(answer: Any) -> None:
    """Stop with the errors of a file that cannot be read, such as one with an unknown column."""
    problem = answer.json()
    lines = [error_message(answer)]
    lines += [f"  {_place(error)}" for error in problem.get("errors", [])[:ROWS_SHOWN]]
    raise Stop(REFUSED, "\n".join(lines))


def _understood(tried: dict[str, Any]) -> str:
    how = tried["understood"]
    if "sheet" in how:
        return f"{how['rows']} rows of the sheet {how['sheet']}"
    signs = f"{how['delimiter']} between cells, decimal sign '{how['decimal_sign']}'"
    return f"{how['rows']} rows, {signs}, {how['encoding']}"


def _show_unread(how: dict[str, Any]) -> None:
    """Print what was guessed and not read of a sheet, and what only its author can tell."""
    for name in ("hidden_rows", "hidden_columns", "hidden_sheets", "other_sheets"):
        if how.get(name):
            listed = ", ".join(str(each) for each in how[name])
            print(f"  not read: {name.replace('_', ' ')} {listed}")
    for words in how.get("guesses", ()):
        print(f"  {words}")
    for column in how.get("not_read", ()):
        print(f"  column {column['title']}: {column['sentence']}")
    order = how.get("asks_day_order")
    if order:
        print(f"  row {order['row']}: which day is {order['value']}?")
        for name, reading in order["readings"].items():
            print(f'    {reading}: submit again with --mapping and {{"order": "{name}"}} in it')
    question = how.get("asks_decimal_sign")
    if question:
        print(f"  row {question['row']}, column {question['column']}: what is {question['value']}?")
        for sign, reading in question["readings"].items():
            print(f"    {reading}: submit again with --decimal {sign}")


def _counts(outcomes: dict[str, int]) -> str:
    words = {"created": "new", "unchanged": "unchanged", "error": "refused"}
    return ", ".join(f"{outcomes[name]} {word}" for name, word in words.items()) + " trials"


def _show_flags(rows: list[dict[str, Any]]) -> None:
    """Print the flags of the data checks, once per trial."""
    first = {row["client_ref"]: row for row in reversed(rows) if row["flags"]}
    flagged = sorted(first.values(), key=lambda row: (row["state"] != "held", int(row["row"])))
    held = sum(row["state"] == "held" for row in flagged)
    shown = min(held, ROWS_SHOWN) + LOOKS_SHOWN
    for row in flagged[:shown]:
        waits = " It waits for an answer and is not counted." if row["state"] == "held" else ""
        flags_shown, more = row["flags"][:FLAGS_SHOWN], len(row["flags"]) - FLAGS_SHOWN
        rest = f" (and {more} more)" if more > 0 else ""
        print(
            f"  row {row['row']}, trial {row['client_ref']}: {' '.join(flags_shown)}{rest}{waits}"
        )
    if len(flagged) > shown:
        more = len(flagged) - shown
        print(f"  … and {more} more trials with something to look at (check_data.py --all)")


def _show_wrong(wrong: list[dict[str, Any]]) -> None:
    lines = [_place(error) for row in wrong for error in row["errors"]]
    for line in lines[:ROWS_SHOWN]:
        print(f"  {line}")
    if len(lines) > ROWS_SHOWN:
        print(f"  … and {len(lines) - ROWS_SHOWN} more")


def _place(error: dict[str, Any]) -> str:
    """Return a fault with its place, value and hint."""
    place = f"row {error['row']}" if "row" in error else ""
    column = f", column {error['column']}" if "column" in error else ""
    value = f": '{error['value']}'" if error.get("value") else ":"
    hint = f" {error['hint']}" if error.get("hint") else ""
    return f"{place}{column}{value} {_sentence(error['detail'])}{hint}"


def _write_refused(target: Path, content: bytes, wrong: list[dict[str, Any]]) -> Path:
    """Write the refused rows as they came, with a column that says what is wrong."""
    problems = {
        row["row"]: "; ".join(_error_in_words(error) for error in row["errors"])
        or "belongs to a wrong trial"
        for row in wrong
    }
    delimiter, records = _records(content)
    with target.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter)
        for number, record in records:
            if number == 1:
                width = len(record) - (record[-1:] == ["problem"])
                writer.writerow([*record[:width], "problem"])
            elif number in problems:
                cells = [*record[:width], *[""] * (width - len(record))]
                writer.writerow([*cells, problems[number]])
    return target


def _error_in_words(error: dict[str, Any]) -> str:
    hint = f" {error['hint']}" if error.get("hint") else ""
    value = f" '{error['value']}'" if error.get("value") else ""
    return f"{error.get('column', '')}:{value} {_sentence(error['detail'])}{hint}"


def _sentence(words: str) -> str:
    return words if words.endswith((".", "?", "!")) else f"{words}."


def _records(content: bytes) -> tuple[str, Iterator[tuple[int, list[str]]]]:
    """Return a file's delimiter and its numbered rows, cut as the service cuts them."""
    is_wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    text = content.decode("utf-16" if is_wide else "utf-8-sig")
    first, _, rest = text.partition("\n")
    named = first.strip().strip('"')
    if named.lower().startswith("sep="):
        delimiter, text = named[4:] or "\t", rest
    else:
        delimiter = max(",;\t|", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    return delimiter, enumerate(reader, start=1)


def main(arguments: list[str] | None = None) -> int:
    """Submit the files named on the command line; return the exit code."""
    parser = argparse.ArgumentParser(
        description=__doc__,
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    parser.add_argument("--dry-run", action="store_true", help="only try; store nothing")
    parser.add_argument(
        "--partial", action="store_true", help="store the good rows even if others are wrong"
    )
    parser.add_argument(
        "--season", help="its name or id, where a team's name is in several (default: by the team)"
    )
    parser.add_argument(
        "--decimal",
        choices=["point", "comma"],
        help="decimal sign of the files, where their numbers do not tell",
    )
    parser.add_argument(
        "--mapping",
        type=Path,
        metavar="FILE",
        help="what the sheets do not say themselves, as JSON: columns, same, table, sheet, order",
    )
    parser.add_argument(
        "--unsure", action="store_true", help="store nothing while the data checks question a row"
    )
    parser.add_argument(
        "--review", action="store_true", help="answer now what the data checks hold back"
    )
    add_url(parser)
    options = parser.parse_args(arguments)
    try:
        with open_client(options.url, read_key()) as client:
            how = SubmitOptions(
                options.partial,
                options.dry_run,
                review=options.review,
                unsure=options.unsure,
                decimal=options.decimal,
                season_id=options.season and find_season(client, options.season)["id"],
                mapping=options.mapping and _text_of(options.mapping),
            )
            return submit_files(client, options.files, how)
    except Stop as stop:
        print(stop, file=sys.stderr)
        return stop.code


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise Stop(USAGE, f"{path} cannot be read: {error}") from error


def submit_files(client: Any, files: list[Path], how: SubmitOptions) -> int:
    """Submit files in turn, with a progress bar on a terminal; return the exit code."""
    good = True
    for number, path in enumerate(files, start=1):
        _show_progress(number - 1, len(files))
        good = submit_file(client, path, how) and good
    _show_progress(len(files), len(files))
    return OK if good else REFUSED


def _show_progress(done: int, of: int) -> None:
    """Draw a progress bar if standard error is a terminal."""
    if of < 2 or not sys.stderr.isatty():
        return
    filled = 24 * done // of
    end = "\n" if done == of else "\r"
    print(f"[{'#' * filled}{'.' * (24 - filled)}] {done}/{of} files", end=end, file=sys.stderr)


if __name__ == "__main__":
    raise SystemExit(main())
