"""Spreadsheets with known content, and the comparison with what an import stored."""
