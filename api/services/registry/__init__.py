"""What is registered: organisations, seasons, teams, turbines, benches, equipment, events."""
