"""The pure heart: inputs in, outputs out, time as an argument. No clock, no I/O, no framework."""
