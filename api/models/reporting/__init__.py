"""Share links, and the sheets as data."""
