"""The built-in study and its scenario. The people are invented; the music was written for this package."""
