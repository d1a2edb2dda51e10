"""Trials as last published."""
