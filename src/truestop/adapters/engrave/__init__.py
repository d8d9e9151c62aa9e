"""Engraving: scores to SVG in a worker process, pages to PDF."""
