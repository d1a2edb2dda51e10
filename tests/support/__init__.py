"""Shared code of tests: makers of things, a real service, tables of operations and pages."""
