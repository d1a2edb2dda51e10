"""Make documents of reports: pages, PDF files and spreadsheets."""
