"""The drill for a shift: its stages as real notes, with headings and instructions.

Conventions: see ``stages`` for what a drill is made of; ``making`` holds the table of exercises.
"""

from truestop.domain.drill.making import make_drill
from truestop.domain.drill.stages import ALL_STAGES, Drill, Exercise, Stage, Travel

__all__ = ["ALL_STAGES", "Drill", "Exercise", "Stage", "Travel", "make_drill"]
