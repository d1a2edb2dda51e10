"""A full disk: writes are refused with a time to retry, reads go on, then all is well."""

import resource
from pathlib import Path

import pytest

from tests.reliability.kills import batch_of, integrity, prepare
from tests.support.service import Service


@pytest.fixture
def service(tmp_path):
    running = Service(tmp_path)
    yield running
    running.kill()


def limit_files(service, size):
    """Let no file of the service grow beyond a size, as a full disk does."""
    _, most = resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE, (size, most))


def test_a_full_disk_refuses_writing_alone_and_only_as_long_as_it_is_full(service, tmp_path):
    key, school, places = prepare(service, 1)
    database = Path(tmp_path) / "walk.db"
    batch = batch_of(school, places[0], 1, 800)
    headers = {"Idempotency-Key": "full"}
    limit_files(service, database.stat().st_size + 4096)
    with service.client(key) as client:
        for _ in range(3):
            refused = client.post("/v1/imports", json=batch, headers=headers)
            assert refused.status_code == 503, refused.text
            assert int(refused.headers["retry-after"]) > 0
            assert refused.headers["content-type"] == "application/problem+json"
            assert "this request was stored" in refused.json()["detail"]  # nothing, or not known
            assert len(client.get("/v1/trials").json()["items"]) == 1
        assert client.get(f"/v1/seasons/{school.season_id}/report").status_code == 200
        assert integrity(f"sqlite:///{database}") == 0
        limit_files(service, resource.RLIM_INFINITY)
        stored = client.post("/v1/imports", json=batch, headers=headers)
        assert stored.status_code == 201, stored.text
        report = client.get(f"/v1/seasons/{school.season_id}/report").json()
        assert report["trials_stored"] == 801
    assert integrity(f"sqlite:///{database}") == 0
