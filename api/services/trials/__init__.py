"""Trials: submitted, corrected, withdrawn, and their questions answered."""
