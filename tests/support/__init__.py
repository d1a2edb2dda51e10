"""What tests share: makers of plausible things, a real service, tables of operations and pages."""
