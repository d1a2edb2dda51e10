"""Interrupted work is resumed at the next start, and readiness reports it until then."""

import pytest
import sqlalchemy as sa
from sqlmodel import Session, delete, select

from api.embedded import engine_for, file_of
from api.models.measurements.flags import Flag
from api.models.operations.rebuilds import RebuildDue
from api.services.measurements import rechecks
from api.services.operations import due_rebuilds, rebuilding
from tests.reliability.power_cut import PowerFailure
from tests.support.makers import World
from tests.support.service import Service


def left_by_a_kill(database_url, season_id):
    """Leave a database as a kill between a migration and its rebuild leaves it."""
    with Session(engine_for(database_url)) as db:
        db.execute(delete(Flag))
        db.add(RebuildDue(season_id=season_id))
        db.commit()


def flag_count(database_url):
    with Session(engine_for(database_url)) as db:
        return db.scalar(select(sa.func.count()).select_from(Flag))


def test_readiness_waits_for_it(world: World, database_url, run):
    assert world.lead.get("/readyz").status_code == 200
    before = flag_count(database_url)
    left_by_a_kill(database_url, world.season_id)
    refused = world.lead.get("/readyz")
    assert refused.status_code == 503
    assert "still to be rebuilt" in refused.json()["detail"]
    assert run("doctor").exit_code == 1
    assert run("migrate").exit_code == 0
    assert world.lead.get("/readyz").status_code == 200
    assert flag_count(database_url) == before > 0


def test_a_start_goes_on_with_it(world: World, database_url, tmp_path):
    before = flag_count(database_url)
    left_by_a_kill(database_url, world.season_id)
    service = Service(tmp_path, database_url)
    service.kill()
    assert flag_count(database_url) == before > 0


@pytest.mark.parametrize("step", [1, 2])
def test_broken_off_within_a_season_that_season_is_still_due(
    step, world: World, app_client, database_url, monkeypatch
):
    left_by_a_kill(database_url, world.season_id)
    seen, recheck = [], rechecks.recheck_season

    def failing(*arguments):
        seen.append(arguments)
        if step == 1:
            raise PowerFailure
        recheck(*arguments)
        raise PowerFailure

    monkeypatch.setattr(rechecks, "recheck_season", failing)
    with pytest.raises(PowerFailure):
        rebuilding.rebuild_due(app_client.app.state.database)
    monkeypatch.undo()
    with app_client.app.state.database.reading() as db:
        assert due_rebuilds.due_seasons(db) == [world.season_id]
    assert rebuilding.rebuild_due(app_client.app.state.database) == 1
    assert seen


def test_a_file_that_is_gone_is_not_ready(world: World, database_url, tmp_path):
    file = file_of(database_url)
    aside = file.rename(tmp_path / "aside.db")
    refused = world.lead.get("/readyz")
    aside.rename(file)
    assert refused.status_code == 503
    assert "gone" in refused.json()["detail"]


def test_a_backups_note_that_cannot_be_read_does_no_harm(
    world: World, app_client, tmp_path, monkeypatch
):
    folder = tmp_path / "backups"
    folder.mkdir()
    (folder / "gustbook-20260101T000000000000Z.json").write_text("{")
    settings = app_client.app.state.settings
    monkeypatch.setattr(
        app_client.app.state, "settings", settings.model_copy(update={"backup_folder": str(folder)})
    )
    ready = world.lead.get("/readyz")
    assert ready.status_code == 200
    assert ready.json()["backup_age_h"] is None
