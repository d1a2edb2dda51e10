"""Groups, distributions and least squares: general calculations without turbines."""
