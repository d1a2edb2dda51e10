"""The data checks: what looks wrong in trials and sessions, and in which words it is said."""
