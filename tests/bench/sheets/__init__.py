"""Spreadsheets drawn with their truth, and the judging of what an import stored of them."""
