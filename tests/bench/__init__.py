"""Measurements: run by hand, printed, never asserted by the clock."""
