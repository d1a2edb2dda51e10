"""Shapes of an event: official runs, inspections, forecast."""
