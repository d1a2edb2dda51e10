"""Shapes of requests, tables and answers; importing this module registers every table."""

from api import db  # noqa: F401 - names constraints, which must precede the first table
from api.models.access.idempotency import StoredAnswer
from api.models.access.keys import AccessKey, KeyOrganisation
from api.models.access.rates import RateCount
from api.models.access.web_sessions import WebSession
from api.models.core.audit import AuditChain, AuditEntry
from api.models.core.changes import SeasonChange
from api.models.core.validation import learn_fields
from api.models.events.inspections import Inspection
from api.models.events.runs import EventRun, RunOrder
from api.models.imports.imports import ImportBatch, ImportOrganisation
from api.models.measurements.flags import Flag
from api.models.measurements.results import CachedResult
from api.models.measurements.sweeps import WindSweep
from api.models.operations.erasures import Erasure
from api.models.operations.rebuilds import RebuildDue
from api.models.publishing.published import PublishedTrials
from api.models.registry.benches import Bench, WindGrid
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.events import Event
from api.models.registry.loans import InstrumentCheck, Loan
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.reporting.shares import Share
from api.models.trials.trials import Run, Trial
from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.webhooks import Webhook

learn_fields()

__all__ = [
    "AccessKey",
    "AuditChain",
    "AuditEntry",
    "Bench",
    "BenchSession",
    "Build",
    "CachedResult",
    "Equipment",
    "Erasure",
    "Event",
    "EventRun",
    "Flag",
    "ImportBatch",
    "ImportOrganisation",
    "Inspection",
    "InstrumentCheck",
    "KeyOrganisation",
    "Loan",
    "Organisation",
    "PublishedTrials",
    "RateCount",
    "RebuildDue",
    "Run",
    "RunOrder",
    "Season",
    "SeasonChange",
    "Share",
    "StoredAnswer",
    "Team",
    "Trial",
    "Turbine",
    "WebSession",
    "Webhook",
    "WebhookDelivery",
    "WindGrid",
    "WindSweep",
]
