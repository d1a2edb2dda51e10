"""Shapes of things: what is sent, stored and answered; importing this makes every table known."""

from api.models.audit import AuditChain, AuditEntry
from api.models.benches import Bench, WindGrid
from api.models.builds import Build
from api.models.equipment import Equipment
from api.models.erasures import Erasure
from api.models.event_runs import EventRun, RunOrder
from api.models.events import Event
from api.models.flags import Flag
from api.models.idempotency import GivenAnswer
from api.models.imports import ImportBatch, ImportOrganisation
from api.models.inspections import Inspection
from api.models.keys import AccessKey, KeyOrganisation
from api.models.loans import InstrumentCheck, Loan
from api.models.organisations import Organisation
from api.models.published import PublishedTrials
from api.models.rates import RateCount
from api.models.rebuilds import RebuildDue
from api.models.results import KeptResult
from api.models.seasons import Season
from api.models.sessions import BenchSession
from api.models.shares import Share
from api.models.sweeps import WindSweep
from api.models.teams import Team
from api.models.trials import Run, Trial
from api.models.turbines import Turbine
from api.models.validation import learn_fields
from api.models.web_sessions import WebSession

learn_fields()

__all__ = [
    "AccessKey",
    "AuditChain",
    "AuditEntry",
    "Bench",
    "BenchSession",
    "Build",
    "Equipment",
    "Erasure",
    "Event",
    "EventRun",
    "Flag",
    "GivenAnswer",
    "ImportBatch",
    "ImportOrganisation",
    "Inspection",
    "InstrumentCheck",
    "KeptResult",
    "KeyOrganisation",
    "Loan",
    "Organisation",
    "PublishedTrials",
    "RateCount",
    "RebuildDue",
    "Run",
    "RunOrder",
    "Season",
    "Share",
    "Team",
    "Trial",
    "Turbine",
    "WebSession",
    "WindGrid",
    "WindSweep",
]
