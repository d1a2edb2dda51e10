"""The fields of every statement: its sentence, and the message key of the sentence."""

from typing import Annotated

from pydantic import BaseModel, Field


class Statement(BaseModel):
    """Words about a finding."""

    sentence_key: Annotated[
        str, Field(description="Names the sentence in the catalogue, whatever the language.")
    ]
    sentence: str
