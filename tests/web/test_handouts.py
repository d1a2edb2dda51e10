"""Hand-outs: a page for each team, with school and team in the file's name."""

import io
import zipfile
from datetime import UTC, datetime

import pytest

from api.services.reporting import handouts
from api.services.reporting.documents.blocks import Document, Text
from api.services.reporting.handouts import Handout
from tests.support.makers import World, created


def second_team(world, name="Larch two"):
    facts = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
    return created(world.larch.coach.post("/v1/teams", json=facts | {"name": name}))


class TestRefusals:
    def test_of_another_school(self, world: World, visiting):
        coach = visiting(world.larch.coach_key)
        for path in (
            f"/schools/{world.birch.organisation_id}/handouts.pdf",
            f"/teams/{world.birch.team_id}/handout.pdf",
        ):
            assert coach.get(path).status_code == 404

    def test_of_too_many_teams(self, world: World, visiting, monkeypatch):
        monkeypatch.setattr(handouts, "MOST_TEAMS", 1)
        second_team(world)
        path = f"/schools/{world.larch.organisation_id}/handouts.zip"
        answer = visiting(world.larch.coach_key).get(path)
        assert answer.status_code == 422
        assert "2 teams are too many" in answer.text


class TestFiles:
    def test_a_school_gets_a_file_for_each_team(self, world: World, visiting):
        second_team(world)
        path = f"/schools/{world.larch.organisation_id}/handouts.zip"
        answer = visiting(world.larch.coach_key).get(path)
        archive = zipfile.ZipFile(io.BytesIO(answer.content))
        names = ["Larch school - Larch one.pdf", "Larch school - Larch two.pdf"]
        assert archive.namelist() == names
        assert all(archive.read(name).startswith(b"%PDF-") for name in names)

    def test_a_coach_gets_the_own_teams_of_an_event(self, world: World, visiting):
        path = f"/events/{world.larch.event_id}/handouts.zip"
        for key, count in ((world.larch.coach_key, 1), (world.lead_key, 2)):
            answer = visiting(key).get(path)
            assert len(zipfile.ZipFile(io.BytesIO(answer.content)).namelist()) == count

    @pytest.mark.parametrize("ending", ["schools/{0}/handouts.pdf", "teams/{1}/handout.pdf"])
    def test_one_pdf_to_print(self, world: World, visiting, ending):
        path = ending.format(world.larch.organisation_id, world.larch.team_id)
        answer = visiting(world.larch.coach_key).get(f"/{path}")
        assert answer.headers["content-disposition"] == 'attachment; filename="hand-outs.pdf"'
        assert answer.content.startswith(b"%PDF-")


def test_file_names_are_safe_and_differ():
    made_at = datetime(2026, 3, 5, tzinfo=UTC)
    pages = [
        Handout(name, Document("t", "", made_at, [Text("x")]))
        for name in ("../a/b: Ünal", "../a/b: Ünal", "///", 'C"\r\n')
    ]
    archive = zipfile.ZipFile(io.BytesIO(handouts.as_zip(pages)))
    assert archive.namelist() == ["ab Ünal.pdf", "ab Ünal 2.pdf", "team.pdf", "C.pdf"]
