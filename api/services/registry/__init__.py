"""Registers of organisations, seasons, teams, turbines, benches, equipment and events."""
