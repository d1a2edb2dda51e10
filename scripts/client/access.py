"""Where the address of the service and the access key come from."""

import os
import stat
from pathlib import Path

import httpx

from .errors import KeyNotAccepted, WrongUse

DEFAULT_URL = "http://127.0.0.1:8000"


def read_key() -> str:
    """Return the access key from GUSTBOOK_KEY or a private file.

    Raises
    ------
    KeyNotAccepted
        If there is no key, or if others can read its file.
    """
    key = os.environ.get("GUSTBOOK_KEY", "").strip()
    if key:
        return key
    path = Path(os.environ.get("GUSTBOOK_KEY_FILE", Path.home() / ".config/gustbook/key"))
    if not path.is_file():
        raise KeyNotAccepted(f"no access key: set GUSTBOOK_KEY, or keep the key in {path}")
    if os.name != "nt" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise KeyNotAccepted(f"others can read {path}: run 'chmod 600 {path}'")
    return path.read_text(encoding="utf-8").strip()


def service_url() -> str:
    """Return the address of the service from GUSTBOOK_URL, or else that of the demo."""
    return os.environ.get("GUSTBOOK_URL") or DEFAULT_URL


def require_usable(url: str, key: str) -> None:
    """Raise an error if an address or a key cannot be used for a request.

    >>> require_usable("gustbook.school.example", "gust_1")
    Traceback (most recent call last):
    client.errors.WrongUse: gustbook.school.example is not an address like http://127.0.0.1:8000
    """
    try:
        address = httpx.URL(url)
    except httpx.InvalidURL as error:
        raise WrongUse(f"{url} is not an address: {error}") from error
    if address.scheme not in ("http", "https") or not address.host:
        raise WrongUse(f"{url} is not an address like {DEFAULT_URL}")
    if address.userinfo or address.query:  # a name and password would be sent in place of the key
        raise WrongUse(f"the address must end after the host, or a path: {DEFAULT_URL}")
    if not (key and key.isascii() and key.isprintable()):
        raise KeyNotAccepted("the access key cannot be used: copy it again")
