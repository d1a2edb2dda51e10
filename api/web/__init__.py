"""For people: server-rendered pages over the services."""
