"""The practice room's server: parse, call the use case, show."""
