"""Shapes of registered things."""
