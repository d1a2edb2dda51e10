"""The Gustbook service: a season of model wind turbines over HTTP."""
