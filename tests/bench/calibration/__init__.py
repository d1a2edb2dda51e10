"""Whether each probability, interval and verdict holds as often as it says: by simulation."""
