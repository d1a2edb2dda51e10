"""A season summed up: typical power of builds and sessions, changes and progress of teams."""
