"""One HTTP request at a time that surely ends: within its time limit as a whole, or at once when it is broken off."""
