"""Shapes of webhooks and of their deliveries."""
