"""Flags and the cached results of trials and sweeps."""
