"""The drills of every kind of shift of every instrument, read again by music21 and by Verovio.

Run ``python benchmarks/foreign_readers.py``; it prints every difference and how many drills and notes were compared.
``--write`` puts the count into docs/accuracy.md.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests"), str(ROOT / "benchmarks")]

from oracles.drill_matrix import FAMILIES, document, joined, matrix  # noqa: E402
from oracles.foreign_readers import music21_differences, verovio_differences  # noqa: E402
from tables import replace_section, table  # noqa: E402

PAGE = ROOT / "docs" / "accuracy.md"
ABOUT = (
    "MusicXML of the drills of every kind of shift, read by music21 (sounding pitch, spelling, length, fingers, string",
    "numbers, slurs, slides) and by Verovio (written heads by note id, fingers and numerals, slurs, slides).",
)


def compare(family: str) -> list[str]:
    """One row of the table."""
    notes, differences = 0, {"music21": 0, "Verovio": 0}
    for index, (specimen, drill) in enumerate(matrix(family)):
        passage, written = joined(specimen, drill), document(family, index)
        notes += len(passage.notes)
        found = {
            "music21": music21_differences(passage, written),
            "Verovio": verovio_differences(passage, written),
        }
        for reader, sentences in found.items():
            differences[reader] += len(sentences)
            for sentence in sentences:
                print(f"{specimen.name}, {reader}: {sentence}")
    return [family, f"{len(matrix(family))}", f"{notes:,}", *(f"{count}" for count in differences.values())]


def main() -> None:
    """Compare, print, and with ``--write`` renew the section of docs/accuracy.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    rows = [compare(family) for family in FAMILIES]
    heads = ["instrument", "drills", "notes", "differences: music21", "Verovio"]
    lines = ["## Drills read by others", "", "`python benchmarks/foreign_readers.py --write`", "", *ABOUT, "",
             *table(heads, rows)]  # fmt: skip
    print("\n".join(lines))
    if options.write:
        replace_section(PAGE, "foreign", lines)


if __name__ == "__main__":
    main()
