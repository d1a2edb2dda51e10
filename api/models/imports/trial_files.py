"""Options for files for spreadsheets."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.ids import OrganisationId


class FileQuery(BaseModel):
    """The format of the cells of a file."""

    model_config = ConfigDict(extra="forbid")

    delimiter: Annotated[
        Literal["comma", "semicolon", "tab"], Field(description="What stands between cells.")
    ] = "comma"
    decimal: Annotated[
        Literal["point", "comma"], Field(description="The decimal sign of numbers.")
    ] = "point"


class TrialFileQuery(FileQuery):
    """Which trials, and how they are to be written."""

    organisation_id: OrganisationId | None = None
    excel: Annotated[bool, Field(description="Begin with a byte order mark, for spreadsheets.")] = (
        False
    )
