"""The command: parse, call the use case, show."""
