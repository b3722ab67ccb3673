"""Counts of long runs, kept as a table that the next run adds to: `tests/fuzz/tried.md`."""

from __future__ import annotations

from pathlib import Path
from typing import Final

TRIED: Final = Path(__file__).with_name("tried.md")

Counts = dict[str, int]
"""Of one row, by column."""


def add(title: str, seeds: str, rows: dict[str, Counts], path: Path = TRIED) -> None:
    """Add counts to the table under a title, and to its list of seeds, so that each run can be had again.

    Parameters
    ----------
    title
        Heading of the table; made at the end where it is not there.
    seeds
        Which run it was, as given on the command line.
    rows
        Counts of the run by row; a column whose name begins with "most" keeps the larger.
    path
        The file.
    """
    parts = path.read_text("utf-8").split("\n## ") if path.exists() else ["# What was tried\n"]
    held = {part.partition("\n")[0]: part for part in parts[1:]}
    told, before = _read(held.get(title, ""))
    for name, counts in rows.items():
        row = before.setdefault(name, {})
        for column, count in counts.items():
            old = row.get(column, 0)
            row[column] = max(old, count) if column.startswith("most") else old + count
    told = [*told, seeds] if seeds not in told else told
    held[title] = _text(title, told, before)
    path.write_text("\n## ".join([parts[0].rstrip("\n") + "\n", *held.values()]), "utf-8")


def _read(part: str) -> tuple[list[str], dict[str, Counts]]:
    lines = part.split("\n")
    told = [line[3:-1] for line in lines if line.startswith("- `")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("|")]
    names = cells[0][1:] if cells else []
    rows = {row[0]: dict(zip(names, map(int, row[1:]), strict=True)) for row in cells[2:] if row[0] != "all"}
    return told, rows


def _text(title: str, told: list[str], rows: dict[str, Counts]) -> str:
    names = list(dict.fromkeys(name for row in rows.values() for name in row))
    whole = {
        name: (max if name.startswith("most") else sum)(row.get(name, 0) for row in rows.values())
        for name in names
    }
    lines = [f"| what | {' | '.join(names)} |", "|---" + "|---:" * len(names) + "|"]
    lines += [
        f"| {label} | {' | '.join(str(row.get(name, 0)) for name in names)} |"
        for label, row in [*rows.items(), ("all", whole)]
    ]
    return "\n".join([title, "", *(f"- `{one}`" for one in told), "", *lines, ""])
