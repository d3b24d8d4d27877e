"""The side that listens: sensors in, readings stored, alerts raised, texts sent."""
