"""Draw sheets as schools keep them, in seven languages, with the trials that they mean."""
