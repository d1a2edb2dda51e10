"""Shapes of what is registered."""
