"""An access key: how a script or a person signs in."""

from datetime import datetime
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator
from sqlmodel import Field as Column
from sqlmodel import SQLModel, String

from api.models.core.faults import fault
from api.models.core.fields import EmailAddress, Label, Moment
from api.models.core.ids import OrganisationId
from api.models.core.shapes import Answer, Input, ListQuery, Stored, changes_of

Role = Literal["lead", "coach", "reader"]
Organisations = Annotated[
    list[OrganisationId],
    Field(max_length=2000, description="Whose things the key reaches; a lead reaches all."),
]


class KeyFacts(SQLModel):
    """The fields that all shapes of a key have."""

    label: Label = Column(description="What the key is for, such as 'Coach, spring laptop'.")
    role: Role = Column(
        sa_type=String,
        description="lead: everything; coach: reads and writes its organisations; reader: "
        "reads them.",
    )
    expires_at: Moment | None = None
    sign_in_email: EmailAddress | None = Column(
        default=None,
        description="Address of an adult's school account, with which pages can be opened like "
        "with this key. Only leads see it; it is erased when the key is revoked.",
    )


class AccessKey(KeyFacts, Stored, table=True):
    """A stored key: the digest of its secret, never the secret."""

    __tablename__ = "access_key"
    prefix: ClassVar[str] = "key"

    digest: str
    revoked_at: datetime | None = None


class KeyOrganisation(SQLModel, table=True):
    """One organisation that a key reaches."""

    __tablename__ = "access_key_organisation"

    key_id: str = Column(foreign_key="access_key.id", primary_key=True)
    organisation_id: str = Column(foreign_key="organisation.id", primary_key=True, index=True)


class KeyCreate(KeyFacts, Input):
    """A key to make."""

    organisation_ids: Organisations = []

    @model_validator(mode="after")
    def reaches_something(self) -> "KeyCreate":
        """Refuse a coach or reader who could see nothing."""
        if self.role != "lead" and not self.organisation_ids:
            raise fault("organisations_missing", "fault.organisations_missing")
        return self


@changes_of(KeyCreate, "label", "expires_at", "organisation_ids", "sign_in_email")
class KeyUpdate(Input):
    """What may change of a key."""

    revoked: Annotated[
        Literal[True] | None, Field(description="true ends the key at once and for good.")
    ] = None


class KeyRead(KeyFacts, Answer):
    """A key as stored; its secret is not kept and cannot be shown again."""

    organisation_ids: list[str]
    revoked_at: datetime | None


class KeyMade(KeyRead):
    """A new key with its secret, shown this once."""

    key: Annotated[
        str | None,
        Field(description="The secret. It is shown once, and left out of a retry: keep it safe."),
    ] = None


class KeyQuery(ListQuery):
    """Which keys to list."""

    label: Label | None = None
    role: Role | None = None
