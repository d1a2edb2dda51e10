"""Readiness, inspections, run orders, official runs, forecasts and reviews of events."""
