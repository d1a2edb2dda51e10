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

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from client import Answer, Fault, Gustbook, Refused, WrongUse
from client.command_line import OK, REFUSED, find_season, options_parser, run, show_progress

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
    def parameters(self) -> dict[str, Any]:
        """Return the query parameters that each request about the file has."""
        return {"decimal": self.decimal, "season_id": self.season_id, "mapping": self.mapping}


def submit_file(gustbook: Gustbook, path: Path, how: SubmitOptions) -> bool:
    """Try a file, then store it; return whether every row was accepted."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise WrongUse(f"{path}: {error.strerror}") from error
    tried = gustbook.submit_file(content, dry_run=True, **how.parameters)
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
    warnings = "refuse" if how.unsure else None
    done = gustbook.submit_file(content, partial=how.partial, warnings=warnings, **how.parameters)
    print(f"  stored: {_counts(done['trials'])}; import {done['id']}")
    if wrong and not content.startswith(WORKBOOK):
        print(f"  the refused rows are in {_write_refused(target, content, wrong).name}")
    if how.review:
        review(gustbook, {row["id"] for row in done["rows"] if row["state"] == "held"})
    return not wrong


def review(gustbook: Gustbook, trial_ids: set[str]) -> None:
    """Ask for an answer to each open question that holds one of these trials."""
    asked: set[str] = set()
    for trial_id in sorted(trial_ids):
        trial = gustbook.get(f"/v1/trials/{trial_id}")
        for flag in trial["flags"]:
            if flag["severity"] == "hold" and flag["state"] == "open" and flag["id"] not in asked:
                asked.add(flag["id"])
                _answer(gustbook, trial, flag)


def _answer(gustbook: Gustbook, trial: dict[str, Any], flag: dict[str, Any]) -> None:
    """Show a flag and send the answer from the keyboard; an empty line leaves the flag open."""
    fix = flag["proposed_fix"] or {}
    can_fix = bool(fix)
    print(f"\n  trial {trial['client_ref'] or trial['id']}: {flag['message']}")
    print(f"  {flag['advice']}")
    choices = ("a = accept the change, " if can_fix else "") + "c = it is right, w = withdraw"
    choice = input(f"  {choices}, empty = later: ").strip().lower()[:1]
    answers: dict[str, Answer] = {"c": "confirm", "w": "withdraw_trial"}
    answers |= {"a": "accept_fix"} if can_fix else {}
    if choice not in answers:
        print("  left for later")
        return
    reason = input("  why (a few words): ").strip() if choice != "a" else None
    try:
        gustbook.answer(flag, answers[choice], reason)
    except Refused as error:
        print(f"  {error}")
    else:
        print("  done")


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
    lines = [str(Fault.of(error)) for row in wrong for error in row["errors"]]
    for line in lines[:ROWS_SHOWN]:
        print(f"  {line}")
    if len(lines) > ROWS_SHOWN:
        print(f"  … and {len(lines) - ROWS_SHOWN} more")


def _write_refused(target: Path, content: bytes, wrong: list[dict[str, Any]]) -> Path:
    """Write the refused rows as they came, with a column that says what is wrong."""
    problems = {
        row["row"]: "; ".join(
            f"{fault.column}: {fault.sentence}" for fault in map(Fault.of, row["errors"])
        )
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
    parser = options_parser(__doc__, EXAMPLES)
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
    options = parser.parse_args(arguments)

    def work(gustbook: Gustbook) -> int:
        how = SubmitOptions(
            options.partial,
            options.dry_run,
            review=options.review,
            unsure=options.unsure,
            decimal=options.decimal,
            season_id=options.season and find_season(gustbook, options.season)["id"],
            mapping=options.mapping and _text_of(options.mapping),
        )
        return submit_files(gustbook, options.files, how)

    return run(options.url, work)


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise WrongUse(f"{path} cannot be read: {error}") from error


def submit_files(gustbook: Gustbook, files: list[Path], how: SubmitOptions) -> int:
    """Submit files in turn, with a progress bar on a terminal; return the exit code."""
    good = True
    for number, path in enumerate(files, start=1):
        show_progress("files", number - 1, len(files))
        good = submit_file(gustbook, path, how) and good
    show_progress("files", len(files), len(files))
    return OK if good else REFUSED


if __name__ == "__main__":
    raise SystemExit(main())
