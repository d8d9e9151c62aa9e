"""Use cases that read as a paragraph, and the ports they need."""
