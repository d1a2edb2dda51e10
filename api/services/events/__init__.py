"""Events: readiness, inspections, run orders, official runs, forecasts and their reviews."""
