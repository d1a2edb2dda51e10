"""Calculations for an event: its forecast, order of runs, drift correction and rules."""
