"""Make documents of reports, to read, print and share."""
