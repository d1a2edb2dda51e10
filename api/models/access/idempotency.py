"""The stored answers to requests with an Idempotency-Key, so that a retry gets the same."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import SQLModel


class StoredAnswer(SQLModel, table=True):
    """One answered request, stored in the same transaction as its facts."""

    __tablename__ = "given_answer"

    key_id: str = Column(foreign_key="access_key.id", primary_key=True)
    idempotency_key: str = Column(primary_key=True)
    digest: str
    status: int = 0
    headers: dict[str, Any] = Column(default_factory=dict, sa_type=JSON)
    body: str = ""
    created_at: datetime
