"""What survives: the mark of a trip under way, and the two-slot file of standing latches."""
