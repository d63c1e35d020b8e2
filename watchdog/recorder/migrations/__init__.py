"""Scripts of the migration library."""
