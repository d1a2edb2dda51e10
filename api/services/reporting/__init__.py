"""Reports as documents to read, print and share."""
