"""Imports, and files of trials."""
