"""The record of practice: a database for what was measured, a shelf for the sound."""

from truestop.adapters.store.practice import SqlPracticeStore
from truestop.adapters.store.shelf import FolderShelf

__all__ = ["FolderShelf", "SqlPracticeStore"]
