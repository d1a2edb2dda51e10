"""Examples of the shapes of webhooks."""

from typing import Any

from api.routes.example_things import MOMENT, MSG, ORG, TRL, WHK, stored

WEBHOOK = {
    "organisation_id": ORG,
    "url": "https://hooks.example/gustbook",
    "kinds": ["import.stored", "trial.needs_answer"],
}
ON = {"state": "on", "reason": None, "failing_since": None}
SECRET = "whsec_…"

WEBHOOK_EXAMPLES: dict[str, dict[str, Any]] = {
    "WebhookCreate": WEBHOOK,
    "WebhookMade": stored(WHK, WEBHOOK, ON, {"secret": SECRET}),
    "WebhookRead": stored(WHK, WEBHOOK, ON),
    "WebhookTested": {
        "delivered": True,
        "status_code": 204,
        "duration_ms": 83,
        "message_id": MSG,
        "sentence": "The receiver took the message (status 204).",
    },
    "WebhookMessage": {
        "type": "trial.needs_answer",
        "timestamp": MOMENT,
        "data": {"path": f"/v1/trials/{TRL}", "organisation_id": ORG, "trial_id": TRL},
    },
    "DeliveryRead": stored(
        MSG,
        {
            "kind": "trial.needs_answer",
            "state": "pending",
            "path": f"/v1/trials/{TRL}",
            "attempts": 2,
            "next_attempt_at": MOMENT,
            "ended_at": None,
            "status_code": 503,
            "sentence": "The receiver answered with status 503, not with a 2xx.",
        },
    ),
}
