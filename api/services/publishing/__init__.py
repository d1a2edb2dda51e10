"""Which trials of other schools a key knows, as last published."""
