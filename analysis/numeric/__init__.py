"""Groups, distributions and least squares: calculation that knows nothing of turbines."""
