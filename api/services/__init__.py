"""Verbs: each takes the database session, who asks and the input, and knows nothing of HTTP."""
