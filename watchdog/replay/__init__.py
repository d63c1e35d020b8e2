"""Recorded logs through the very engine that guards live."""
