"""The trade as plain values and functions: no files, clocks, randomness, logging or threads."""
