"""Describe the messages of webhooks: how they are signed, and what a receiver answers."""

from api.openapi.operations import show_example
from api.openapi.parts import Part

#: The headers of a message, and what each is for.
SIGNED = {
    "webhook-id": "The id of the message, the same however often it is sent.",
    "webhook-timestamp": "When it was sent this time, in seconds since 1970.",
    "webhook-signature": "`v1,` and the base64 of the HMAC-SHA256 of `id.timestamp.body`, with the "
    "bytes of the secret after `whsec_`.",
}


def complete(operation: Part) -> None:
    """Complete one kind of message; its receiver sends no refusals of ours."""
    operation["security"] = []
    operation["responses"] = {"2XX": {"description": "The receiver has taken the message."}}
    operation["parameters"] = [_header(name, words) for name, words in SIGNED.items()]
    show_example(operation["requestBody"]["content"])


def _header(name: str, words: str) -> Part:
    text = {"type": "string"}
    return {"name": name, "in": "header", "required": True, "description": words, "schema": text}
