"""Measurements of data loss: run by hand, and in a short version with every check."""
