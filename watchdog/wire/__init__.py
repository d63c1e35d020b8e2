"""Bytes to values and back: payloads, logs, control messages. Pure."""
