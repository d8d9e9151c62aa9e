"""``python -m truestop``."""

from truestop.cli.main import main

main()
