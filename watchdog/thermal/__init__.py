"""What heaters are made of and what they can do. Pure."""
