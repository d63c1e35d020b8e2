"""Words that no heat can have brought, and what may take them back."""

SELDOM_S = 15.0
"""Two such words in a row may both be wild; of a source with a longer interval than this they are enough."""

QUIET_S = 30.0
"""Such a word just before the link drops for a moment stands only after so long."""

CORRECTS_WITHIN_S = 10.0
"""A source that reports on change looks again, and takes such a word back, within this time."""
