"""Settings: files to checked values, or all the problems at once."""
