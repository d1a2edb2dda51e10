"""Pages for people, over the same services as the API."""
