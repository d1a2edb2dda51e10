"""Erasures and rebuilds."""
