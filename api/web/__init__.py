"""Server-rendered pages for people, over the services."""
