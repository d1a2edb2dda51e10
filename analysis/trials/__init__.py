"""Calculate normalised power and its uncertainty from the readings of trials."""
