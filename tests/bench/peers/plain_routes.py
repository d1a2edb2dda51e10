"""Trials by the plain way: FastAPI, SQLModel, a session for each request, rows as objects.

No keys, no checks, no audit, no uncertainty: what a first version looks like.
"""

import csv
import io
import os
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import Depends, FastAPI, Request
from pydantic import BaseModel
from sqlalchemy import event
from sqlmodel import Field, Session, SQLModel, create_engine, select

URL = os.environ["PLAIN_DATABASE_URL"]
engine = create_engine(URL, pool_size=48)
if URL.startswith("sqlite"):

    @event.listens_for(engine, "connect")
    def settle(connection: Any, record: Any) -> None:
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA busy_timeout = 60000")


class TrialBase(SQLModel):
    """What is sent of a trial."""

    session_id: str = Field(index=True)
    build_id: str = Field(index=True)
    kind: str
    client_ref: str | None = None
    pitch_deg: float | None = None
    load_ohm: float
    load_connected: bool = True
    meter_range_v: float | None = None
    wind_speed_m_s: float | None = None
    air_temperature_c: float = 20.0
    pressure_hpa: float = 950.0
    relative_humidity_pct: float = 45.0
    voltage_1_v: float
    voltage_2_v: float | None = None
    voltage_3_v: float | None = None
    note: str | None = None


class Trial(TrialBase, table=True):
    """A stored trial."""

    id: int | None = Field(default=None, primary_key=True)
    created_at: datetime = Field(default_factory=lambda: datetime.now(UTC))
    power_w: float | None = None
    air_density_kg_m3: float | None = None
    normalised_power_w: float | None = None


class TrialPublic(TrialBase):
    """A trial as it is answered."""

    id: int
    created_at: datetime
    power_w: float
    air_density_kg_m3: float
    normalised_power_w: float


class Run(BaseModel):
    """A reading, as our service takes it."""

    voltage_v: float
    duration_s: float | None = None


class Sent(BaseModel):
    """A trial as our service takes it: only validated."""

    session_id: str
    build_id: str
    kind: str
    client_ref: str | None = None
    pitch_deg: float | None = None
    load_ohm: float
    load_connected: bool
    meter_range_v: float | None = None
    runs: list[Run]


app = FastAPI()
SQLModel.metadata.create_all(engine)


def session() -> Iterator[Session]:
    """Give a session for a request."""
    with Session(engine) as opened:
        yield opened


Db = Annotated[Session, Depends(session)]


@app.get("/readyz")
@app.get("/hello")
async def hello() -> dict[str, str]:
    """Say hello."""
    return {"message": "hello"}


@app.post("/validate")
async def validate(trial: Sent) -> dict[str, int]:
    """Validate a trial and do nothing with it."""
    return {"runs": len(trial.runs)}


def derived(trial: TrialBase) -> Trial:
    """Return a trial with its figures."""
    row = Trial.model_validate(trial)
    volts = [v for v in (row.voltage_1_v, row.voltage_2_v, row.voltage_3_v) if v]
    row.power_w = sum(v * v for v in volts) / len(volts) / row.load_ohm
    row.air_density_kg_m3 = 100 * row.pressure_hpa / 287.05 / (row.air_temperature_c + 273.15)
    row.normalised_power_w = (
        row.power_w * (4.0 / (row.wind_speed_m_s or 4.0)) ** 2.6
        * (1.225 / row.air_density_kg_m3) ** 0.5
    )  # fmt: skip
    return row


@app.post("/trials", response_model=TrialPublic, status_code=201)
def create(trial: TrialBase, db: Db) -> Trial:
    """Store a trial."""
    row = derived(trial)
    db.add(row)
    db.commit()
    db.refresh(row)
    return row


@app.get("/trials", response_model=list[TrialPublic])
def page(db: Db, limit: int = 50) -> list[Trial]:
    """List trials."""
    return list(db.exec(select(Trial).order_by(Trial.id).limit(limit)))


@app.post("/imports")
async def take(request: Request, db: Db) -> dict[str, int]:
    """Store the trials of a sheet, row by row, in one transaction."""
    text, count = (await request.body()).decode(), 0
    for row in csv.DictReader(io.StringIO(text)):
        fields = {name: value for name, value in row.items() if value != ""}
        db.add(derived(TrialBase.model_validate(fields)))
        db.flush()
        count += 1
    db.commit()
    return {"rows": count}
