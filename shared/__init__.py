"""What both sides use: units, the farm, physics, estimates, alerts and the store."""
