"""Check tables from outside the project, one pytest parameter per row. Each row names its source and its tolerance."""

import csv
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent.parent / "reference"


def rows(table: str, *kinds: str, column: str = "kind") -> list:
    """The rows of a table, those of the named kinds only if any are named. An empty choice is a mistake, not a pass."""
    with open(FOLDER / f"{table}.csv", encoding="utf-8", newline="") as file:
        chosen = [row for row in csv.DictReader(file) if not kinds or row[column] in kinds]
    assert chosen, f"no rows of {kinds} in {table}"
    return [pytest.param(row, id=row["id"]) for row in chosen]
