"""The journey from logs to answers."""
