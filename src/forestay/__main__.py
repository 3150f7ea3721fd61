"""``python -m forestay``."""

from forestay.cli.main import run

run()
