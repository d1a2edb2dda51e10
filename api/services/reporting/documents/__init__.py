"""Reports as documents: one shape for the page, the printed sheet and the spreadsheet."""
