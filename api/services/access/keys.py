"""Access keys: made once, shown once, stored as a digest, checked on every request.

A key reads `gust_<id>_<secret><check>`: the id selects the row, the secret has
256 random bits, and with the check a scanner can recognise a leaked key offline.
"""

import hashlib
import hmac
import re
import secrets
import string
import zlib
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import bindparam
from sqlmodel import Session, col, delete, or_, select
from sqlmodel.sql.expression import SelectOfScalar

from api.errors import Conflict, FieldError, NotFound, NotSignedIn
from api.messages import say
from api.models.access.keys import (
    AccessKey,
    KeyCreate,
    KeyMade,
    KeyOrganisation,
    KeyQuery,
    KeyRead,
    KeyUpdate,
)
from api.models.access.web_sessions import WebSession
from api.models.core.ids import ALPHABET, LENGTH, new_id
from api.models.registry.organisations import Organisation
from api.prepared import Prepared
from api.services.core import audit, pages, resources, turns
from api.services.core.pages import Rest
from api.services.core.scope import Caller, visible

PREFIX = "gust"
LETTERS = string.ascii_letters + string.digits
SECRET_LENGTH = 43  # [characters of 62], 256 bits
CHECK_LENGTH = 6
KEY_PATTERN = re.compile(
    f"{PREFIX}_([{ALPHABET}]{{{LENGTH}}})_([A-Za-z0-9]{{{SECRET_LENGTH}}})([A-Za-z0-9]{{{CHECK_LENGTH}}})"
)

#: Every request looks up its key: these are composed once.
_KEY_COLUMNS: list[Any] = [
    getattr(AccessKey, name)
    for name in ("id", "label", "role", "digest", "revoked_at", "expires_at")
]
_KEY = Prepared(select(*_KEY_COLUMNS).where(col(AccessKey.id) == bindparam("key_id")))
_REACHED = Prepared(
    select(KeyOrganisation.organisation_id).where(
        col(KeyOrganisation.key_id) == bindparam("key_id")
    )
)
#: The console of the machine that runs the service; it makes the first key.
CONSOLE = Caller("key_console", "console", "lead", None)


def _check(text: str) -> str:
    """Return six characters that change when the text is mistyped."""
    rest, characters = zlib.crc32(text.encode("ascii")), ""
    for _ in range(CHECK_LENGTH):
        rest, position = divmod(rest, len(LETTERS))
        characters += LETTERS[position]
    return characters


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("ascii")).hexdigest()


def token_of(authorization: str | None) -> str:
    """Return the key that an Authorization header carries."""
    scheme, _, token = (authorization or "").partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise NotSignedIn(say("refused.send_key"))
    return token


class WrongSecret(NotSignedIn):
    """A well-formed key that is not the one of its id: somebody may be guessing."""

    def __init__(self, key_id: str) -> None:
        super().__init__(say("refused.no_such_key"))
        self.key_id = key_id


def id_of(token: str) -> str | None:
    """Return the id in a complete key (the key may not exist), or None if it is malformed."""
    parts = KEY_PATTERN.fullmatch(token.strip())
    if not parts or _check(parts[1] + parts[2]) != parts[3]:
        return None
    return f"{AccessKey.prefix}_{parts[1]}"


def caller_with(db: Session, token: str, now: datetime) -> Caller:
    """Return the caller of a key, if the key is complete, stored and valid."""
    key_id = id_of(token)
    if key_id is None:
        raise NotSignedIn(say("refused.no_such_key"))
    row = _key(db, key_id)
    secret = token.strip()[-(SECRET_LENGTH + CHECK_LENGTH) : -CHECK_LENGTH]
    stored = row.digest if row else ""
    if not hmac.compare_digest(stored.encode(), _digest(secret).encode()) or row is None:
        raise WrongSecret(key_id)
    return _caller_of(db, row, now)


def caller_of(db: Session, key_id: str, now: datetime) -> Caller:
    """Return the caller of a key that was checked before, if the key is still valid."""
    return _caller_of(db, _key(db, key_id), now)


def sign_in_at(db: Session, sign_in_email: str, now: datetime) -> Caller | None:
    """Sign in with the address of a school account; note it in the audit log.

    Return the caller of the newest valid key with that address, or None without one.
    """
    turns.take(db, [audit.PROGRAMME])  # nobody may remove the address before this is committed
    row = db.scalars(_valid_with(sign_in_email, now).order_by(col(AccessKey.id).desc())).first()
    if row is None:
        return None
    caller = _caller_of(db, row, now)
    audit.note(db, caller, "signed_in", row)
    return caller


def _valid_with(sign_in_email: str, now: datetime) -> SelectOfScalar[AccessKey]:
    """Return the query for valid keys with an address."""
    return select(AccessKey).where(
        col(AccessKey.sign_in_email) == sign_in_email,
        col(AccessKey.revoked_at).is_(None),
        or_(col(AccessKey.expires_at).is_(None), col(AccessKey.expires_at) > now),
    )


def _key(db: Session, key_id: str) -> Any:
    """Return the columns of a key that identify its caller, or None without such a key."""
    rows = _KEY.rows(db.connection(), key_id=key_id)
    return rows[0] if rows else None


def _caller_of(db: Session, row: Any, now: datetime) -> Caller:
    if row is None or row.revoked_at is not None:
        raise NotSignedIn(say("refused.no_such_key"))
    if row.expires_at is not None and row.expires_at <= now:
        raise NotSignedIn(say("refused.no_such_key"))
    reach = None if row.role == "lead" else frozenset(_organisation_ids(db, row.id))
    return Caller(row.id, row.label, row.role, reach)


def _organisation_ids(db: Session, key_id: str) -> list[str]:
    return sorted(each for (each,) in _REACHED.plain(db.connection(), key_id=key_id))


def create(db: Session, caller: Caller, key: KeyCreate) -> KeyMade:
    """Make a key; only this answer has its secret, which is not stored."""
    secret = "".join(secrets.choice(LETTERS) for _ in range(SECRET_LENGTH))
    key_id = new_id(AccessKey.prefix)
    row = resources.store(db, caller, AccessKey, key, id=key_id, digest=_digest(secret))
    _require_own_email(db, row)
    if row.sign_in_email is not None:
        audit.note(db, caller, "changed", row, {"sign_in_email": [None, row.sign_in_email]})
    _reach(db, caller, row, key.organisation_ids)
    public = key_id.removeprefix(f"{AccessKey.prefix}_")
    token = f"{PREFIX}_{public}_{secret}{_check(public + secret)}"
    return resources.read(KeyMade, row, organisation_ids=_organisation_ids(db, row.id), key=token)


def _reach(db: Session, caller: Caller, row: AccessKey, organisation_ids: list[str]) -> None:
    """Let a key reach exactly these organisations, and note it in the audit log."""
    before, wanted = _organisation_ids(db, row.id), sorted(set(organisation_ids))
    if before == wanted:
        return
    found = visible(caller, Organisation).where(col(Organisation.id).in_(wanted))
    known = set(db.scalars(found.with_only_columns(col(Organisation.id))))
    for organisation_id in wanted:
        if organisation_id not in known:  # refused with its name
            resources.get_row(db, caller, Organisation, organisation_id, "organisation_ids")
    db.execute(delete(KeyOrganisation).where(col(KeyOrganisation.key_id) == row.id))
    db.add_all(KeyOrganisation(key_id=row.id, organisation_id=each) for each in wanted)
    db.flush()
    audit.note(db, caller, "changed", row, {"organisation_ids": [before, wanted]})


def _read(db: Session, row: AccessKey) -> KeyRead:
    return resources.read(KeyRead, row, organisation_ids=_organisation_ids(db, row.id))


def get(db: Session, caller: Caller, key_id: str) -> KeyRead:
    """Return a key without its secret."""
    return _read(db, resources.get_row(db, caller, AccessKey, key_id))


def page(db: Session, caller: Caller, query: KeyQuery) -> tuple[list[KeyRead], Rest]:
    """Return a page of keys without their secrets."""
    rows, after = pages.page(db, caller, AccessKey, query)
    return [_read(db, row) for row in rows], after


def all_of(db: Session) -> list[KeyRead]:
    """Return all keys of the programme without their secrets, oldest first."""
    rows = db.scalars(select(AccessKey).order_by(col(AccessKey.id))).all()
    return [_read(db, row) for row in rows]


def change(db: Session, caller: Caller, key_id: str, changes: KeyUpdate, version: int) -> KeyRead:
    """Change or revoke a key, from the next request on; another address ends its sessions."""
    row = resources.get_row(db, caller, AccessKey, key_id)
    email_before = row.sign_in_email
    resources.change(db, caller, row, changes, version)
    sent_fields = changes.model_dump(exclude_unset=True)
    if sent_fields.get("revoked"):
        _revoke(db, caller, row)
    if "organisation_ids" in sent_fields and row.role != "lead":
        _reach(db, caller, row, sent_fields["organisation_ids"])
    _require_own_email(db, row)
    if email_before and row.sign_in_email != email_before:
        db.execute(delete(WebSession).where(col(WebSession.key_id) == row.id))
    return _read(db, row)


def _require_own_email(db: Session, row: AccessKey) -> None:
    """Refuse an address of a revoked key, or one that another valid key has.

    The entry in the audit log, written before, makes two leads' changes wait for each other.
    """
    if row.sign_in_email is None:
        return
    if row.revoked_at is not None:
        raise Conflict(say("refused.sign_in_email_of_ended"))
    others = _valid_with(row.sign_in_email, datetime.now(UTC)).where(col(AccessKey.id) != row.id)
    other = db.scalars(others).first()
    if other is not None:
        words = say("refused.sign_in_email_taken", label=other.label)
        raise Conflict(words, [FieldError("taken", words, pointer="/sign_in_email")])


def _revoke(db: Session, caller: Caller, row: AccessKey) -> None:
    """Revoke a key, erase its address, and note it in the audit log."""
    row.sign_in_email = None
    if row.revoked_at is None:
        row.revoked_at = datetime.now(UTC)
        db.flush()
        audit.note(db, caller, "revoked", row)


def revoke(db: Session, key_id: str) -> None:
    """Revoke a key from the console."""
    row = db.get(AccessKey, key_id)
    if row is None:
        raise NotFound(f"no key {key_id}")
    _revoke(db, CONSOLE, row)
    row.version += 1
