"""Read all settings of the service from its environment, into one frozen object."""

import os
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from urllib.parse import urlsplit

from pydantic import (
    AfterValidator,
    Field,
    SecretStr,
    ValidationError,
    field_validator,
    model_validator,
)
from pydantic_settings import BaseSettings, SettingsConfigDict

from api.embedded import is_embedded
from api.webhook_hosts import read_hosts

PREFIX = "GUSTBOOK_"


def _naming_hosts(text: str) -> str:
    """Return names of hosts as they were written; refuse what is no name."""
    read_hosts(text)
    return text


class Settings(BaseSettings):
    """How this service runs; each field is the variable `GUSTBOOK_` and its name in capitals."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True, extra="ignore")

    database_url: Annotated[
        str,
        Field(
            pattern=r"^(sqlite:///.+|postgresql://.+)$",
            description="Where the programme is kept: sqlite:///FILE or postgresql://…",
        ),
    ] = "sqlite:///var/gustbook.db"
    max_body_bytes: Annotated[
        int, Field(ge=10_000, le=1_000_000_000, description="Largest request body. [bytes]")
    ] = 20_000_000
    max_import_rows: Annotated[
        int, Field(ge=1, le=1_000_000, description="Largest number of rows in one import.")
    ] = 100_000
    worker_threads: Annotated[
        int,
        Field(
            ge=0,
            le=200,
            description="Requests worked on at once; 0 means 6 for a file and 16 for a server.",
        ),
    ] = 0
    trusted_proxies: Annotated[
        str,
        Field(
            description="Whose X-Forwarded-For and X-Forwarded-Proto are believed: addresses with "
            "commas between."
        ),
    ] = "127.0.0.1"
    log_level: Annotated[
        Literal["debug", "info", "warning", "error"],
        Field(description="info: a line for each request; warning: faults alone."),
    ] = "info"
    metrics: Annotated[
        bool,
        Field(
            description="Tell counts and times of requests at /metrics, to anyone who reaches it."
        ),
    ] = False
    requests_per_minute: Annotated[
        int, Field(ge=1, le=10_000_000, description="Most requests of one key in a minute.")
    ] = 60_000
    keys_per_day: Annotated[
        int, Field(ge=1, le=1_000_000, description="Most keys that one lead's key makes in a day.")
    ] = 5000
    links_per_day: Annotated[
        int, Field(ge=1, le=1_000_000, description="Most share links that one key makes in a day.")
    ] = 200
    imports_per_day: Annotated[
        int, Field(ge=1, le=1_000_000, description="Most imports that one key sends in a day.")
    ] = 10_000
    plain_http_pages: Annotated[
        bool,
        Field(
            description="Let people sign in over plain http on a school's own network; anyone who "
            "listens there can then take over their sessions. Off: https, or this machine alone."
        ),
    ] = False
    root_path: Annotated[
        str,
        Field(
            pattern=r"^((/[A-Za-z0-9_-]+)+)?$",
            description="Path before each address, such as /wind, where other services share the "
            "host. Not the name of a page.",
        ),
    ] = ""
    styleguide: Annotated[
        bool, Field(description="Show /styleguide to people who build pages; on in the demo.")
    ] = False
    demo_keys: Annotated[
        str,
        Field(
            description="File of keys that the sign-in page offers to anybody; for the demo only. "
            "A line is a role, a tab, a school or nothing, a tab, and a key."
        ),
    ] = ""
    webhook_hosts: Annotated[
        str,
        AfterValidator(_naming_hosts),
        Field(
            description="Hosts that webhooks may call, with commas between, such as "
            "hooks.example or 10.0.0.5:8443; with none there are no webhooks."
        ),
    ] = ""
    statement_timeout_s: Annotated[
        float,
        Field(gt=0, le=3600, description="How long PostgreSQL may work on one statement. [s]"),
    ] = 60.0
    behind_pooler: Annotated[
        bool,
        Field(
            description="The database's address is a pooler's that gives each transaction another "
            "connection, such as PgBouncer's: prepare no statements, set no timeout."
        ),
    ] = False
    backup_folder: Annotated[
        str, Field(min_length=1, description="Where backups are kept, best on another disk.")
    ] = "var/backups"
    backup_keep: Annotated[
        int, Field(ge=1, le=10_000, description="How many backups are kept.")
    ] = 14
    retention_days: Annotated[
        int,
        Field(ge=30, le=36_500, description="How long after its end a season is due to be purged."),
    ] = 1095
    sign_in_issuer: Annotated[
        str,
        Field(
            description="Issuer (OpenID Connect) of the school accounts with which people may sign "
            "in to the pages; empty: with keys only. No other host is asked for anything."
        ),
    ] = ""
    sign_in_other_hosts: Annotated[
        str,
        Field(
            pattern=r"^([A-Za-z0-9.-]+(:[0-9]+)?(, ?|$))*$",
            description="Further hosts of that issuer, if its description names any: with commas "
            "between.",
        ),
    ] = ""
    sign_in_client_id: Annotated[
        str, Field(description="The name under which the issuer knows this service.")
    ] = ""
    sign_in_client_secret: Annotated[
        SecretStr, Field(description="The secret that goes with that name.")
    ] = SecretStr("")
    sign_in_client_secret_file: Annotated[
        str, Field(description="File with that secret, instead of the variable.")
    ] = ""
    sign_in_name: Annotated[
        str,
        Field(max_length=60, description="What the button calls it, such as your school account."),
    ] = ""
    busy_timeout_s: Annotated[
        float, Field(gt=0, le=60, description="How long a request waits for the database. [s]")
    ] = 20.0

    @field_validator("sign_in_issuer")
    @classmethod
    def _is_safe_issuer(cls, issuer: str) -> str:
        if issuer and not host_of(issuer):
            raise ValueError("must begin with https:// (or http:// on this machine)")
        return issuer

    @field_validator("sign_in_client_secret_file")
    @classmethod
    def _is_readable(cls, file: str) -> str:
        if file:
            try:
                Path(file).read_text(encoding="utf-8")
            except (OSError, ValueError) as error:
                raise ValueError("cannot be read") from error
        return file

    @model_validator(mode="after")
    def _has_all_for_signing_in(self) -> Self:
        """Refuse a part of what signing in with a school account needs."""
        needed = {
            "ISSUER": self.sign_in_issuer,
            "CLIENT_ID": self.sign_in_client_id,
            "CLIENT_SECRET": self.sign_in_secret,
        }
        missing = [f"{PREFIX}SIGN_IN_{name}" for name, value in needed.items() if not value]
        is_wanted = any((*needed.values(), self.sign_in_name, self.sign_in_other_hosts))
        if is_wanted and missing:
            raise ValueError(f"{' and '.join(missing)} must be set too, to sign in with an account")
        return self

    @property
    def sign_in_hosts(self) -> frozenset[str]:
        """Return the hosts that may be asked when somebody signs in with a school account."""
        others = self.sign_in_other_hosts.lower().replace(",", " ").split()
        return frozenset((host_of(self.sign_in_issuer), *others))

    @property
    def sign_in_secret(self) -> str:
        """Return the secret that the issuer gave this service, from its file or the environment."""
        if self.sign_in_client_secret_file:
            return Path(self.sign_in_client_secret_file).read_text(encoding="utf-8").strip()
        return self.sign_in_client_secret.get_secret_value()

    @property
    def threads(self) -> int:
        """Return the number of requests worked on at once.

        Python runs one calculating thread at a time, so more threads make each slower, and none
        faster. With a server, threads also wait for its answers and for those of a season.
        """
        return self.worker_threads or (6 if is_embedded(self.database_url) else 16)


def host_of(address: str) -> str:
    """Return host and port of an address whose answers nobody on the way can change, else "".

    >>> host_of("https://SSO.school.test/x"), host_of("http://127.0.0.1:9")
    ('sso.school.test', '127.0.0.1:9')
    >>> host_of("http://sso.school.test"), host_of("file:///etc/passwd"), host_of("https://[x")
    ('', '', '')
    """
    try:
        parts = urlsplit(address)
    except ValueError:
        return ""
    is_local = parts.hostname in ("127.0.0.1", "::1", "localhost")
    is_safe = parts.scheme == "https" or (parts.scheme == "http" and is_local)
    return parts.netloc.lower() if is_safe and parts.hostname else ""


class WrongSettings(Exception):
    """Wrong settings, all of them named; the service cannot start."""


#: Variables with our prefix for scripts on the same machine, not for the service.
FOR_SCRIPTS = frozenset({"GUSTBOOK_KEY", "GUSTBOOK_KEY_FILE", "GUSTBOOK_URL"})


def read_settings() -> Settings:
    """Return the settings of the environment; raise `WrongSettings` for wrong or unknown ones."""
    unknown = unknown_variables(os.environ)
    if unknown:
        raise WrongSettings("\n".join(unknown))
    try:
        return Settings()
    except ValidationError as error:
        raise WrongSettings("\n".join(_lines(error))) from error


def _lines(error: ValidationError) -> list[str]:
    return [_line(wrong) for wrong in error.errors(include_url=False)]


def _line(wrong: Mapping[str, Any]) -> str:
    """Return what is wrong with a setting, or, without its value, with several together."""
    if not wrong["loc"]:
        return str(wrong["msg"])
    return f"{PREFIX}{str(wrong['loc'][0]).upper()}: {wrong['msg']}, got {wrong['input']!r}"


def unknown_variables(environment: Mapping[str, str]) -> list[str]:
    """Return a sentence for each unknown variable with our prefix, with the nearest setting.

    >>> unknown_variables({"GUSTBOOK_DATABSE_URL": "sqlite:///x.db", "HOME": "/root"})
    ['GUSTBOOK_DATABSE_URL is not a setting: did you mean GUSTBOOK_DATABASE_URL?']
    """
    settings = {f"{PREFIX}{name.upper()}" for name in Settings.model_fields}
    set_names = {name.upper() for name in environment if name.upper().startswith(PREFIX)}
    return [_unknown(name, settings) for name in sorted(set_names - settings - FOR_SCRIPTS)]


def _unknown(name: str, settings: Iterable[str]) -> str:
    near = get_close_matches(name, list(settings), n=1, cutoff=0.6)
    hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(sorted(settings))}"
    return f"{name} is not a setting: {hint}"
