"""From the readings of trials to their power, normalised and with its uncertainty."""
