"""The parts of the document that are about the API as a whole: text, subjects, key, headers."""

from typing import Any

from api.services.operations.erasing import ANSWER_DAYS

SUMMARY = "Register, test, check and compare model wind turbines through a season."
DESCRIPTION = f"""\
A season of model wind turbines: teams of several schools build, test, check and compare fairly.

Send `Authorization: Bearer <key>`. `GET /v1/organisations` lists the schools that the key
reaches. Numbers carry their unit in the field's name; most may come in another unit under another
suffix (`voltage_mv` for `voltage_v`). A refusal is `application/problem+json` and names every
fault.

An evening by script: `GET /v1/benches` and `GET /v1/builds?team_id=…&sort=-created_at` name what
is tested; `POST /v1/sessions` opens the evening with its wind, air and adult; `POST /v1/trials`
sends each setting with its readings; `GET /v1/flags?trial_id=…` lists its questions and `POST
/v1/flags/{{flag_id}}/answer` answers one; `GET /v1/teams/{{team_id}}/report` says what the team
knows now.

Does a trial count? Its `state` is `accepted`, `held` or `withdrawn`, and only accepted ones
count. A data check that doubts a trial raises a flag: of severity `hold`, which holds the trial
until it is answered; `warn`, which should be answered while the trial counts; or `info`, which
needs no answer. `accept_fix` saves the value that the flag proposes, `confirm` keeps what was
sent, for the reason given, and `withdraw_trial` withdraws the trial. `left_out` of a result says
why a trial does not count in it.

Which power? `normalised_power_w` is at the season's wind and in standard air, for comparing
builds of one bench. `fair_power_w` is also free of what each bench adds, for comparing teams of
several schools.

A request may arrive twice without harm. Under an `Idempotency-Key` of your choice, the same POST
is done once; for {ANSWER_DAYS} days a retry gets the first answer, with `Idempotent-Replayed:
true`, so read the thing again for its state of now. A trial with a `client_ref` of its own is
stored once per build without a key, too: sent again, it is answered with 200 and its state of
now.

A change needs `If-Match` with the `ETag` of the state that it changes, quotation marks included.
"""
LICENCE = {"name": "MIT", "identifier": "MIT"}
#: Each programme runs a service of its own, so that no address can be named.
CONTACT = {"name": "The lead of your programme, who gives out access keys"}

#: The subjects of operations, in the order in which a season meets them.
TAGS = {
    "seasons": "Seasons, the scope of every comparison; a season as one file.",
    "organisations": "Schools and clubs, and what they show to others.",
    "keys": "Access keys of leads, coaches and readers.",
    "teams": "Teams of one season, without personal data.",
    "equipment": "Generators, meters, loads, fans and reference rotors; loans and checks.",
    "turbines": "Turbines of teams, and reference rotors that travel between schools.",
    "builds": "Numbered states of a turbine; each change makes a new one.",
    "benches": "Fan, setting, distance, wind meter and room of a test; measured wind.",
    "sessions": "One evening at one bench, with its wind and air.",
    "trials": "One setting of one build with its readings, and the result computed from them.",
    "imports": "Files and batches of trials, row by row; each can be undone.",
    "flags": "Questions of the data checks, and their answers.",
    "reports": "Reports on a season, a school, a team and an event; tables for other programs.",
    "comparison": "Builds and benches of several schools on one scale; progress of a team.",
    "events": "Events: inspections, who is ready, forecast, run order, official runs.",
    "webhooks": "Signed messages to another program when something happens.",
    "history": "What was changed, by which key, and why.",
    "templates": "Files to fill in or to change.",
    "about": "State of the service, units and names; without a key.",
}

#: The headers of answers, and what each is for.
HEADERS = {
    "ETag": "The state of the thing, for If-Match of a change and If-None-Match of a read.",
    "Location": "The address of what was stored.",
    "Link": "The address of the next page, with rel=next.",
    "Idempotent-Replayed": "`true` if this is the first answer to the Idempotency-Key again.",
    "Retry-After": "Seconds to wait before the request is sent again.",
    "X-Request-Id": "The id of the request, to quote when something went wrong.",
    "RateLimit": "Requests that are left in this minute, and seconds until there are more.",
    "WWW-Authenticate": "The way to sign in: with a key as bearer.",
}

KEY = {
    "type": "http",
    "scheme": "bearer",
    "bearerFormat": "gust_…",
    "description": "An access key, as the command `key create` or `POST /v1/keys` shows it once.",
}


def servers(root_path: str) -> list[dict[str, Any]]:
    """Return the one service, which may be below a path of its host."""
    return [{"url": root_path or "/", "description": "The service that gives this document."}]


def headers() -> dict[str, Any]:
    """Return the headers of answers as components of the document."""
    return {
        name: {"description": words, "schema": {"type": "string"}}
        for name, words in HEADERS.items()
    }


def tags() -> list[dict[str, str]]:
    """Return the subjects with their descriptions."""
    return [{"name": name, "description": words} for name, words in TAGS.items()]
