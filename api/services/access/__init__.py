"""Access keys, browsers that are signed in, limits, and retries."""
