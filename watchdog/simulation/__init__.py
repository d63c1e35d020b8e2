"""Pretend printers. Pure: time is an argument."""
