"""A whole season as one file, and from that file into another programme, to the same numbers."""

import hashlib
import io
import json
import zipfile
from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError
from sqlalchemy import insert
from sqlmodel import Session, SQLModel, col, or_, select

from api.bulk import parts
from api.errors import Conflict, FieldError, Invalid
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
from api.services.measurements import flags
from api.services.operations.tables import Rows, rows_of, whole_school, whole_season
from api.services.season import comparisons, reports

FORMAT = 2
MOST_UNPACKED_BYTES, MOST_PARTS = 500_000_000, 60
#: A moment that every entry of a file bears, so that the same season gives the same file.
EPOCH = (2020, 1, 1, 0, 0, 0)
LEFT_OUT = {"as_of", "revision"}
#: Fields with text of ours: it may be worded otherwise in a newer version, with the same numbers.
TEXTS = frozenset({"sentence", "reason", "words"})


def season_digest(db: Session, caller: Caller, season_id: str) -> str:
    """Return a digest of a season's report and comparison, without sentences and moments."""
    use_own_cache(db)  # answers of exactly the moment whose rows go along with the digest
    with using(DEFAULT):  # a file from a German page is read back on an English one
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
    parts, counts = tables_of(db, whole_season(season.id))
    parts["trials.csv"] = trial_files.season_csv(db, caller, season.id, TrialFileQuery())
    digest = season_digest(db, caller, season.id)
    manifest = {"format": FORMAT, "season_id": season.id, "rows": counts, "digest": digest}
    return zipped(parts | {"manifest.json": json.dumps(manifest, indent=1, sort_keys=True)})


def export_organisation(db: Session, caller: Caller, organisation_id: str) -> bytes:
    """Return all that is a school's own, over all seasons: tables, the record, trials as CSV."""
    school = resources.get_row(db, caller, Organisation, organisation_id)
    parts, counts = tables_of(db, whole_school(school.id))
    seasons = select(BenchSession.season_id).where(col(BenchSession.organisation_id) == school.id)
    with_teams = select(Team.season_id).where(col(Team.organisation_id) == school.id)
    query = TrialFileQuery(organisation_id=school.id)
    for season_id in sorted(db.scalars(seasons.union(with_teams))):
        text = trial_files.season_csv(db, caller, season_id, query)
        parts[f"trials-{season_id}.csv"] = text
    manifest = {"format": FORMAT, "organisation_id": school.id, "rows": counts}
    return zipped(parts | {"manifest.json": json.dumps(manifest, indent=1, sort_keys=True)})


def tables_of(db: Session, tables: Rows) -> tuple[dict[str, str], dict[str, int]]:
    """Return some rows of tables, each table as JSON lines by its file name, and their counts."""
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
    """Store an exported season; refused where any of it is here, or its numbers come out other."""
    manifest, tables = _unpack(body)
    season_id = str(manifest.get("season_id"))
    revisions.lock_all(db)
    use_own_cache(db)
    for table, _ in whole_season(season_id):
        rows = [_row(table, line) for line in tables[str(table.__tablename__)]]
        _require_absent(db, table, rows)
        for part in parts(rows):
            db.execute(insert(table), part)
    _require_within(db, season_id)
    flags.recheck_season(db, season_id)
    season = db.get(Season, season_id)
    if season is None:
        raise _refused(say("refused.file_without_season"))
    if season_digest(db, caller, season_id) != manifest.get("digest"):
        raise Conflict(say("refused.file_other_numbers"))
    audit.note(db, caller, "imported", season)
    return resources.read(SeasonRead, season)


def _unpack(body: bytes) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """Return manifest and lines of each table; refuse what is no export."""
    try:
        file = zipfile.ZipFile(io.BytesIO(body))
        parts = file.infolist()
        if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
            raise _refused(say("refused.file_too_large"))
        manifest: dict[str, Any] = json.loads(file.read("manifest.json"))
        names = [str(table.__tablename__) for table, _ in whole_season("")]
        tables = {name: file.read(f"tables/{name}.jsonl").decode().splitlines() for name in names}
    except (zipfile.BadZipFile, KeyError, ValueError, RuntimeError, NotImplementedError) as error:
        raise _refused(say("refused.file_no_export")) from error
    if manifest.get("format") != FORMAT:
        raise _refused(say("refused.file_other_version"))
    return manifest, tables


def _row(table: type[SQLModel], line: str) -> dict[str, Any]:
    """Return a stored row again; every limit of its fields is asked."""
    try:
        return table.model_validate(json.loads(line)).model_dump()
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        where = "/".join(str(step) for step in fault["loc"])
        table_name = str(table.__tablename__)
        raise _refused(say("refused.file_row", table=table_name, place=where)) from error


def _require_absent(db: Session, table: type[SQLModel], rows: Sequence[dict[str, Any]]) -> None:
    """Refuse to write over anything: what is here may be newer than the file."""
    key = next(iter(table.__table__.primary_key)).name  # type: ignore[attr-defined]  # SQLModel hides it
    for part in parts(rows):
        ids = [row[key] for row in part]
        here = select(getattr(table, key)).where(col(getattr(table, key)).in_(ids)).limit(1)
        if db.scalar(here) is not None:
            raise Conflict(say("refused.file_stored", table=table.__tablename__))


def _require_within(db: Session, season_id: str) -> None:
    """Refuse trials whose session or whose team is of another season."""
    of_trials = (
        select(Trial.id)
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .join(Build, col(Build.id) == col(Trial.build_id))
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .outerjoin(Team, col(Team.id) == col(Turbine.team_id))
    )
    elsewhere = or_(col(BenchSession.season_id) != season_id, col(Team.season_id) != season_id)
    astray = of_trials.where(col(Trial.season_id) == season_id, elsewhere).limit(1)
    if db.scalar(astray) is not None:
        raise _refused(say("refused.file_trial_astray"))


def _refused(words: str) -> Invalid:
    return Invalid(words, [FieldError("season_file", words)])
