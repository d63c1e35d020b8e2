"""The record: what happened, kept in a database. Nothing here is on the way of a trip."""
