"""Shapes of trials and runs."""
