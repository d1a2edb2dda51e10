"""Forms that register and change things, in the same way for every kind."""
