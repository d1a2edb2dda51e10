"""Webhooks: send signed messages about what happened to hosts that the operator allows."""
