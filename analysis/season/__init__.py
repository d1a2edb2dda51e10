"""Summarise a season: typical power of builds and sessions, changes and progress of teams."""
