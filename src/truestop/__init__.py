"""truestop: know, hear, feel, test and keep every shift of a passage."""

__version__ = "0.1.0"
