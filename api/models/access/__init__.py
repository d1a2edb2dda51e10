"""Access keys, signed-in browsers, stored answers and rate counts."""
