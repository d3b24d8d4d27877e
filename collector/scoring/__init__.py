"""Simulated nights through the real pipeline, held against their truth.

dice -> story -> simulate -> messages -> listening (intake, watch) -> wake-ups, places, forecasts
                           -> truth    -> due                       -> marks -> table
"""
