"""A retry is done once and has the same answer, also if both arrive together."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.support.makers import World, created, trial_payload
from tests.support.sheets import sheet, three_runs

pytestmark = pytest.mark.on_both


def test_a_retry_gets_the_first_answer(world: World):
    asked, headers = trial_payload(world.larch), {"Idempotency-Key": "abc"}
    first = world.larch.coach.post("/v1/trials", json=asked, headers=headers)
    again = world.larch.coach.post("/v1/trials", json=asked, headers=headers)
    assert created(again) == created(first)
    assert again.headers["Idempotent-Replayed"] == "true"
    assert again.headers["Location"] == first.headers["Location"]
    assert again.headers["ETag"] == first.headers["ETag"]


def test_the_same_key_for_another_request_is_refused(world: World):
    headers = {"Idempotency-Key": "abc"}
    created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch), headers=headers))
    other = trial_payload(world.larch, load_ohm=47)
    answer = world.larch.coach.post("/v1/trials", json=other, headers=headers)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["code"] == "idempotency_key_reused"


def test_a_refusal_is_not_kept(world: World):
    headers = {"Idempotency-Key": "abc"}
    bad = trial_payload(world.larch, load_connected=False)
    assert world.larch.coach.post("/v1/trials", json=bad, headers=headers).status_code == 422
    created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch), headers=headers))


def test_a_retry_shows_no_secret(world: World):
    asked, headers = {"label": "x", "role": "lead"}, {"Idempotency-Key": "k"}
    first = created(world.lead.post("/v1/keys", json=asked, headers=headers))
    again = created(world.lead.post("/v1/keys", json=asked, headers=headers))
    assert "key" in first
    assert "key" not in again
    assert again["id"] == first["id"]


def test_a_file_in_a_form_is_known_again(world: World):
    content = sheet(*three_runs()).encode()
    for _ in range(2):
        answer = world.larch.coach.post(
            "/v1/imports",
            files={"file": ("a.csv", content, "text/csv")},
            headers={"Idempotency-Key": "form"},
        )
        assert answer.status_code == 201, answer.text
    assert answer.headers["Idempotent-Replayed"] == "true"


@pytest.mark.parametrize("key", ["", "x" * 256])
def test_a_key_has_a_length(key, world: World):
    answer = world.larch.coach.post(
        "/v1/trials", json=trial_payload(world.larch), headers={"Idempotency-Key": key}
    )
    assert answer.status_code == 422


def test_eight_at_once_store_one(world: World):
    asked, headers = trial_payload(world.larch, client_ref="eight"), {"Idempotency-Key": "8"}

    def send(_: int) -> str:
        answer = world.larch.coach.post("/v1/trials", json=asked, headers=headers)
        assert answer.status_code == 201, answer.text
        return answer.json()["id"]

    with ThreadPoolExecutor(8) as pool:
        assert len(set(pool.map(send, range(8)))) == 1
    listed = world.larch.coach.get("/v1/trials?client_ref=eight").json()["items"]
    assert len(listed) == 1


def test_eight_at_once_without_a_key_store_one_by_their_name(world: World):
    asked = trial_payload(world.larch, client_ref="named")

    def send(_: int) -> int:
        return int(world.larch.coach.post("/v1/trials", json=asked).status_code)

    with ThreadPoolExecutor(8) as pool:
        statuses = sorted(pool.map(send, range(8)))
    assert statuses == [200] * 7 + [201]


def test_eight_builds_at_once_get_eight_numbers(world: World):
    asked = {"turbine_id": world.larch.turbine_id, "rotor_diameter_m": 0.5, "blade_count": 2}

    def send(_: int) -> int:
        return int(created(world.larch.coach.post("/v1/builds", json=asked))["number"])

    with ThreadPoolExecutor(8) as pool:
        assert sorted(pool.map(send, range(8))) == list(range(2, 10))


def test_parallel_writers_lose_no_revision(world: World):
    before = world.lead.get(f"/v1/seasons/{world.season_id}").json()["revision"]

    def send(number: int) -> None:
        created(
            world.larch.coach.post(
                "/v1/trials", json=trial_payload(world.larch, client_ref=f"p{number}")
            )
        )

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(send, range(40)))
    after = world.lead.get(f"/v1/seasons/{world.season_id}").json()["revision"]
    assert after - before == 40
