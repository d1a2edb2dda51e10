"""Read all cached answers of the API, and empty the caches."""

from typing import Any

from fastapi.testclient import TestClient

from api.services.core import cache
from api.services.core.changes import forget_changes
from tests.support.makers import World


def everything(world: World) -> dict[str, Any]:
    """Return all answers that depend on trials, without the time of the answer."""
    paths = {
        "report": f"/v1/seasons/{world.season_id}/report",
        "comparison": f"/v1/seasons/{world.season_id}/comparison",
        "larch": f"/v1/teams/{world.larch.team_id}/progress",
        "outlook": f"/v1/events/{world.larch.event_id}/outlook",
        "trial": f"/v1/trials/{world.larch.trial_id}",
    }
    answers = {name: world.lead.get(path).json() for name, path in paths.items()}
    for answer in answers.values():
        answer.pop("as_of", None)
    return answers


def forget(client: TestClient) -> None:
    """Empty the caches, as a restart does."""
    cache._caches.clear()
    forget_changes()
