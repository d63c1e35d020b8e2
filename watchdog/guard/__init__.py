"""The guard process: the one loop, its clock, its inbox, and what carries out the engine's decisions."""
