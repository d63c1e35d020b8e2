"""The front process: what speaks HTTP to clients. It can be flooded, hung or killed without touching protection."""
