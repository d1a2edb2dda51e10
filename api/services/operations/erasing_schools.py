"""Erase a school with all its texts, except for facts that other schools' results depend on.

Another school's trial at its bench needs the wind and air of that bench. Such benches, sessions and
instruments stay, without names and texts, under a school named "A school that left".
"""

from datetime import UTC, datetime

from sqlalchemy import ColumnElement, func, or_
from sqlmodel import Session, col, select

from api.errors import NotFound
from api.models.access.idempotency import StoredAnswer
from api.models.access.keys import AccessKey, KeyOrganisation
from api.models.access.rates import RateCount
from api.models.access.web_sessions import WebSession
from api.models.core.audit import AuditEntry
from api.models.events.inspections import Inspection
from api.models.events.runs import EventRun, RunOrder
from api.models.imports.imports import ImportOrganisation
from api.models.measurements.flags import Flag
from api.models.measurements.sweeps import WindSweep
from api.models.registry.benches import Bench, WindGrid
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.loans import InstrumentCheck, Loan
from api.models.registry.organisations import Organisation
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.reporting.shares import Share
from api.models.trials.trials import Run, Trial
from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.webhooks import Webhook
from api.services.core import revisions
from api.services.measurements import rechecks
from api.services.operations.erasing import Eraser, begin
from api.services.operations.tables import lent_or_borrowed

LEFT = "A school that left"


def erase_organisation(db: Session, organisation_id: str) -> dict[str, int]:
    """Erase a school in all seasons; return the number of erased rows of each table.

    Raise `NotFound` for an unknown school.
    """
    revisions.lock_all(db)
    if db.get(Organisation, organisation_id) is None:
        raise NotFound(f"no organisation {organisation_id}")
    eraser = begin(db, "organisation", organisation_id)
    seasons = _seasons(db, organisation_id)
    imports = set(db.scalars(select(ImportOrganisation.import_id).where(
        col(ImportOrganisation.organisation_id) == organisation_id)))  # fmt: skip
    _erase_keys(eraser, organisation_id)
    _erase_trials(eraser, organisation_id)
    _erase_teams(eraser, organisation_id)
    eraser.delete_rows(
        ImportOrganisation, col(ImportOrganisation.organisation_id) == organisation_id
    )
    eraser.delete_imports(imports)
    _erase_rooms(eraser, organisation_id)
    eraser.delete_rows(StoredAnswer, col(StoredAnswer.body).contains(organisation_id))
    eraser.empty_record(col(AuditEntry.organisation_id) == organisation_id)
    db.expire_all()
    for season_id in seasons:
        rechecks.recheck_season(db, season_id)
    return eraser.finish()


def _seasons(db: Session, organisation_id: str) -> list[str]:
    """Return the seasons that a school took part in."""
    with_team = select(Team.season_id).where(col(Team.organisation_id) == organisation_id)
    with_session = select(BenchSession.season_id).where(
        col(BenchSession.organisation_id) == organisation_id
    )
    return sorted(db.scalars(with_team.union(with_session)))


def _erase_keys(eraser: Eraser, organisation_id: str) -> None:
    """Revoke the keys that reach only this school, and erase their labels and addresses."""
    reaching = select(KeyOrganisation.key_id).where(
        col(KeyOrganisation.organisation_id) == organisation_id
    )
    of_one = (
        select(KeyOrganisation.key_id)
        .group_by(col(KeyOrganisation.key_id))
        .having(func.count() == 1)
    )
    key_ids = sorted(set(eraser.db.scalars(reaching)) & set(eraser.db.scalars(of_one)))
    eraser.empty_record(col(AuditEntry.key_id).in_(key_ids))
    eraser.empty_record(col(AuditEntry.thing_id).in_(key_ids))
    for key_id in key_ids:
        eraser.delete_rows(RateCount, col(RateCount.name).contains(key_id))
    eraser.delete_rows(WebSession, col(WebSession.key_id).in_(key_ids))
    eraser.delete_rows(StoredAnswer, col(StoredAnswer.key_id).in_(key_ids))
    eraser.delete_rows(Share, or_(col(Share.key_id).in_(key_ids),
                               col(Share.organisation_id) == organisation_id))  # fmt: skip
    of_school = col(Webhook.organisation_id) == organisation_id
    about_school = col(WebhookDelivery.organisation_id) == organisation_id
    webhooks = select(Webhook.id).where(or_(of_school, col(Webhook.key_id).in_(key_ids)))
    eraser.delete_rows(
        WebhookDelivery, or_(col(WebhookDelivery.webhook_id).in_(webhooks), about_school)
    )
    eraser.delete_rows(Webhook, or_(of_school, col(Webhook.key_id).in_(key_ids)))
    eraser.delete_rows(KeyOrganisation, col(KeyOrganisation.organisation_id) == organisation_id)
    eraser.reword(
        AccessKey,
        col(AccessKey.id).in_(key_ids),
        label=LEFT,
        digest="",
        sign_in_email=None,
        revoked_at=datetime.now(UTC),
    )


def _used_by_others(organisation_id: str) -> ColumnElement[bool]:
    """Return the condition on sessions with trials of other schools."""
    of_others = select(Trial.session_id).where(col(Trial.organisation_id) != organisation_id)
    return col(BenchSession.id).in_(of_others)


def _erase_trials(eraser: Eraser, organisation_id: str) -> None:
    """Delete its trials, except reference runs in sessions with trials of other schools."""
    sessions = select(BenchSession.id).where(_used_by_others(organisation_id))
    is_needed = (col(Trial.kind) == "reference") & col(Trial.session_id).in_(sessions)
    of_school = col(Trial.organisation_id) == organisation_id
    erased = select(Trial.id).where(of_school, ~is_needed)
    builds = select(Build.id).where(col(Build.organisation_id) == organisation_id)
    eraser.delete_rows(Flag, col(Flag.organisation_id) == organisation_id)
    eraser.delete_rows(EventRun, col(EventRun.build_id).in_(builds))
    eraser.delete_rows(Inspection, col(Inspection.organisation_id) == organisation_id)
    eraser.delete_rows(Run, col(Run.trial_id).in_(erased))
    eraser.delete_rows(Trial, of_school & ~is_needed)
    eraser.reword(Trial, of_school, note=None, client_ref=None)
    eraser.delete_rows(WindSweep, col(WindSweep.build_id).in_(builds))


def _erase_teams(eraser: Eraser, organisation_id: str) -> None:
    """Delete its teams and turbines, also from drawn run orders."""
    teams = set(eraser.db.scalars(select(Team.id).where(
        col(Team.organisation_id) == organisation_id)))  # fmt: skip
    for order in eraser.db.scalars(select(RunOrder)):
        if any(slot["team_id"] in teams for slot in order.slots):
            order.slots = [slot for slot in order.slots if slot["team_id"] not in teams]
    eraser.db.flush()
    for table in (Build, Turbine, Team):
        eraser.delete_rows(table, col(table.organisation_id) == organisation_id)


def _erase_rooms(eraser: Eraser, organisation_id: str) -> None:
    """Delete benches, sessions, instruments and the school, unless other schools' trials need them.

    The texts of the rows that stay are erased.
    """
    used_benches = select(BenchSession.bench_id).where(_used_by_others(organisation_id))
    is_unused = (col(Bench.organisation_id) == organisation_id) & col(Bench.id).not_in(used_benches)
    unused_benches = select(Bench.id).where(is_unused)
    eraser.delete_rows(
        BenchSession,
        (col(BenchSession.organisation_id) == organisation_id) & ~_used_by_others(organisation_id),
    )
    eraser.delete_rows(WindGrid, col(WindGrid.bench_id).in_(unused_benches))
    eraser.delete_rows(Bench, is_unused)
    eraser.reword(BenchSession, col(BenchSession.organisation_id) == organisation_id, note=None)
    eraser.reword(WindGrid, col(WindGrid.organisation_id) == organisation_id, note=None)
    eraser.reword(Bench, col(Bench.organisation_id) == organisation_id,
                  name=col(Bench.id), room=None, note=None)  # fmt: skip
    _erase_instruments(eraser, organisation_id)
    _erase_name(eraser, organisation_id)


def _erase_instruments(eraser: Eraser, organisation_id: str) -> None:
    of_school = col(Equipment.organisation_id) == organisation_id
    eraser.delete_rows(Loan, lent_or_borrowed(organisation_id))
    pointed_at = (Bench.fan_id, Bench.anemometer_id, BenchSession.meter_id, Trial.load_id,
                  Turbine.generator_id, Turbine.rotor_id)  # fmt: skip
    used = [select(column).where(col(column).is_not(None)) for column in pointed_at]
    others_checks = select(InstrumentCheck.against_id).where(
        col(InstrumentCheck.against_id).is_not(None),
        col(InstrumentCheck.organisation_id).is_distinct_from(organisation_id),
    )
    unused = of_school
    for column in (*used, others_checks):
        unused = unused & col(Equipment.id).not_in(column)
    idle = select(Equipment.id).where(unused)
    checked = col(InstrumentCheck.equipment_id).in_(idle)
    against = col(InstrumentCheck.against_id).in_(idle)
    eraser.delete_rows(InstrumentCheck, or_(checked, against))
    eraser.delete_rows(Equipment, unused)
    eraser.reword(Equipment, of_school, tag=col(Equipment.id), note=None)
    eraser.reword(
        InstrumentCheck, col(InstrumentCheck.organisation_id) == organisation_id, note=None
    )


def _erase_name(eraser: Eraser, organisation_id: str) -> None:
    """Delete the school itself, or only its name if any of its rows must stay."""
    this = col(Organisation.id) == organisation_id
    owned = (Bench, BenchSession, Equipment, InstrumentCheck, Trial)
    remaining = (
        select(table.id).where(col(table.organisation_id) == organisation_id) for table in owned
    )
    if any(eraser.db.scalar(each.limit(1)) for each in remaining):
        eraser.reword(Organisation, this, name=f"{LEFT} {organisation_id[-6:]}", sharing="own")
        eraser.empty_record(col(AuditEntry.thing_id) == organisation_id)
    else:
        eraser.delete_rows(Organisation, this)
