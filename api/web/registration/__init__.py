"""Forms that register and change things: one way for every kind of thing."""
