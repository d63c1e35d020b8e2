"""Ways to open a circuit: one file each. A driver executes and reports; it decides nothing."""
