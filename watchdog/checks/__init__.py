"""The checks: one file each. Its docstring is its documentation, its limits are one frozen dataclass."""
