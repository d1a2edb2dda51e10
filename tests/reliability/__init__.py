"""What a season may not lose: measured by hand, and in short with every check."""
