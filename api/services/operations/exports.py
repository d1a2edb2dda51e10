"""Export a complete season as one file, and import it elsewhere with the same numbers."""

import hashlib
import io
import json
import zipfile
from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError
from sqlalchemy import insert
from sqlmodel import Session, SQLModel, col, or_, select

from api.errors import Conflict, FieldError, Invalid
from api.many_rows import parts
from api.messages import say, using
from api.messages.languages import DEFAULT
from api.models.imports.trial_files import TrialFileQuery
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season, SeasonRead
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core import audit, resources, revisions
from api.services.core.cache import use_own_cache
from api.services.core.scope import Caller
from api.services.imports import trial_files
from api.services.measurements import rechecks
from api.services.operations.tables import Rows, rows_of, school_tables, season_tables
from api.services.season import comparisons, reports

FORMAT = 2
MOST_UNPACKED_BYTES, MOST_PARTS = 500_000_000, 60
#: The date of every entry of a file, so that the same season gives the same file.
EPOCH = (2020, 1, 1, 0, 0, 0)
LEFT_OUT = {"as_of", "revision"}
#: Fields with our own text, which another version may word differently.
TEXTS = frozenset({"sentence", "reason", "words"})


def season_digest(db: Session, caller: Caller, season_id: str) -> str:
    """Return a digest of a season's report and comparison, without sentences and times."""
    use_own_cache(db)  # the answers must match the exported rows exactly
    with using(DEFAULT):  # the file may be imported in another language
        answers = [
            each(db, caller, season_id).model_dump(mode="json", exclude=LEFT_OUT)
            for each in (reports.season_report, comparisons.compare_season)
        ]
    return hashlib.sha256(json.dumps(_without_texts(answers), sort_keys=True).encode()).hexdigest()


def _without_texts(value: Any) -> Any:
    """Return an answer without our own sentences, at any depth."""
    if isinstance(value, list):
        return [_without_texts(each) for each in value]
    if isinstance(value, dict):
        return {name: _without_texts(each) for name, each in value.items() if name not in TEXTS}
    return value


def export_season(db: Session, caller: Caller, season_id: str) -> bytes:
    """Return a season as a zip: each table as JSON lines, the trials and the report as CSV."""
    season = resources.get_row(db, caller, Season, season_id)
    parts, counts = tables_of(db, season_tables(season.id))
    parts["trials.csv"] = trial_files.season_csv(db, caller, season.id, TrialFileQuery())
    digest = season_digest(db, caller, season.id)
    manifest = {"format": FORMAT, "season_id": season.id, "rows": counts, "digest": digest}
    return zipped(parts | {"manifest.json": json.dumps(manifest, indent=1, sort_keys=True)})


def export_organisation(db: Session, caller: Caller, organisation_id: str) -> bytes:
    """Return all data of a school in all seasons: tables, audit log, trials as CSV."""
    school = resources.get_row(db, caller, Organisation, organisation_id)
    parts, counts = tables_of(db, school_tables(school.id))
    seasons = select(BenchSession.season_id).where(col(BenchSession.organisation_id) == school.id)
    with_teams = select(Team.season_id).where(col(Team.organisation_id) == school.id)
    query = TrialFileQuery(organisation_id=school.id)
    for season_id in sorted(db.scalars(seasons.union(with_teams))):
        text = trial_files.season_csv(db, caller, season_id, query)
        parts[f"trials-{season_id}.csv"] = text
    manifest = {"format": FORMAT, "organisation_id": school.id, "rows": counts}
    return zipped(parts | {"manifest.json": json.dumps(manifest, indent=1, sort_keys=True)})


def tables_of(db: Session, tables: Rows) -> tuple[dict[str, str], dict[str, int]]:
    """Return rows of tables as JSON lines by file name, and the number of rows of each table."""
    parts, counts = {}, {}
    for table, condition in tables:
        name = str(table.__tablename__)
        lines = [json.dumps(row, sort_keys=True) for row in rows_of(db, table, condition)]
        counts[name] = len(lines)
        parts[f"tables/{name}.jsonl"] = "".join(f"{line}\n" for line in lines)
    return parts, counts


def zipped(parts: dict[str, str]) -> bytes:
    """Return texts as one zip file; the same texts give the same file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name, EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            file.writestr(entry, text)
    return out.getvalue()


def import_season(db: Session, caller: Caller, body: bytes) -> SeasonRead:
    """Store an exported season; refuse it if rows exist here, or if its numbers differ."""
    manifest, tables = _unpack(body)
    season_id = str(manifest.get("season_id"))
    revisions.lock_all(db)
    use_own_cache(db)
    for table, _ in season_tables(season_id):
        rows = [_row(table, line) for line in tables[str(table.__tablename__)]]
        _require_absent(db, table, rows)
        for part in parts(rows):
            db.execute(insert(table), part)
    _require_within(db, season_id)
    rechecks.recheck_season(db, season_id)
    season = db.get(Season, season_id)
    if season is None:
        raise _refused(say("refused.file_without_season"))
    if season_digest(db, caller, season_id) != manifest.get("digest"):
        raise Conflict(say("refused.file_other_numbers"))
    audit.note(db, caller, "imported", season)
    return resources.read(SeasonRead, season)


def _unpack(body: bytes) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """Return the manifest and the lines of each table; refuse a file that is not an export."""
    try:
        file = zipfile.ZipFile(io.BytesIO(body))
        parts = file.infolist()
        if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
            raise _refused(say("refused.file_too_large"))
        manifest = json.loads(file.read("manifest.json"))
        names = [str(table.__tablename__) for table, _ in season_tables("")]
        tables = {name: file.read(f"tables/{name}.jsonl").decode().splitlines() for name in names}
    except (zipfile.BadZipFile, KeyError, ValueError, RuntimeError, NotImplementedError) as error:
        raise _refused(say("refused.file_no_export")) from error
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise _refused(say("refused.file_other_version"))
    return manifest, tables


def _row(table: type[SQLModel], line: str) -> dict[str, Any]:
    """Return a row from its line; check every limit of its fields."""
    try:
        return table.model_validate(json.loads(line)).model_dump()
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        where = "/".join(str(step) for step in fault["loc"])
        table_name = str(table.__tablename__)
        raise _refused(say("refused.file_row", table=table_name, place=where)) from error
    except (ValueError, RecursionError) as error:
        raise _refused(say("refused.file_no_export")) from error


def _require_absent(db: Session, table: type[SQLModel], rows: Sequence[dict[str, Any]]) -> None:
    """Refuse to overwrite rows: those here may be newer than the file."""
    key = next(iter(table.__table__.primary_key)).name  # type: ignore[attr-defined]  # SQLModel hides it
    for part in parts(rows):
        ids = [row[key] for row in part]
        existing = select(getattr(table, key)).where(col(getattr(table, key)).in_(ids)).limit(1)
        if db.scalar(existing) is not None:
            raise Conflict(say("refused.file_stored", table=table.__tablename__))


def _require_within(db: Session, season_id: str) -> None:
    """Refuse trials whose session or team belongs to another season."""
    of_trials = (
        select(Trial.id)
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .join(Build, col(Build.id) == col(Trial.build_id))
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .outerjoin(Team, col(Team.id) == col(Turbine.team_id))
    )
    elsewhere = or_(col(BenchSession.season_id) != season_id, col(Team.season_id) != season_id)
    misplaced = of_trials.where(col(Trial.season_id) == season_id, elsewhere).limit(1)
    if db.scalar(misplaced) is not None:
        raise _refused(say("refused.file_trial_astray"))


def _refused(words: str) -> Invalid:
    return Invalid(words, [FieldError("season_file", words)])
