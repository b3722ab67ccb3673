"""Reads back what a PDF draws: the lines of its content streams, in millimetres."""

from __future__ import annotations

import re
import subprocess
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.needs import program

MM_PER_PT = 25.4 / 72.0

_STREAM = re.compile(rb"/Filter \[ /FlateDecode \] /Length (\d+)\n>>\nstream\n")


@dataclass(frozen=True)
class Stroke:
    """One drawn line: points, mm from the lower left corner; width, mm; ink, red, green, blue."""

    points: tuple[tuple[float, float], ...]
    width_mm: float
    ink: tuple[float, ...] = ()
    dashed: bool = False

    @property
    def ends(self) -> tuple[float, float, float, float]:
        return *self.points[0], *self.points[-1]


def page_strokes(pdf: bytes) -> list[list[Stroke]]:
    """Lines of every page."""
    return [_strokes(content) for content in page_contents(pdf)]


def type_sizes(pdf: bytes) -> set[float]:
    """Sizes of all letters, points; our sheets turn text and never scale it."""
    return {
        float(size) for content in page_contents(pdf) for size in re.findall(r"/F\S+ ([\d.]+) Tf", content)
    }


def page_contents(pdf: bytes) -> list[str]:
    """Drawing operators of every page; fonts and other streams hold none."""
    pages = []
    for found in _STREAM.finditer(pdf):
        content = zlib.decompress(pdf[found.end() :][: int(found[1])])
        if content.startswith(b"1 0 0 1 0 0 cm"):
            pages.append(content.decode("latin-1"))
    return pages


def _strokes(content: str) -> list[Stroke]:
    out: list[Stroke] = []
    stack: list[float] = []
    state = (0.0, 0.0, 1.0)  # origin x, y, line width; our pages turn only text
    saved: list[tuple[float, float, float]] = []
    paths: list[list[tuple[float, float]]] = []
    ink: tuple[float, ...] = ()
    dashed = False
    for word in re.sub(r"\((?:\\.|[^\\)])*\)", " 0 ", content).split():
        try:
            stack.append(float(word))
            continue
        except ValueError:
            pass
        x0, y0, width = state
        if word == "q":
            saved.append(state)
        elif word == "Q":
            state = saved.pop()
        elif word == "cm":
            state = (x0 + stack[-2], y0 + stack[-1], width)
        elif word == "w":
            state = (x0, y0, stack[-1])
        elif word == "RG":
            ink = tuple(stack[-3:])
        elif word.startswith("["):
            dashed = word != "[]"
        elif word == "m":
            paths.append([(x0 + stack[-2], y0 + stack[-1])])
        elif word == "l":
            paths[-1].append((x0 + stack[-2], y0 + stack[-1]))
        elif word in ("S", "B", "B*", "b", "s", "f", "f*", "n"):
            if word not in ("f", "f*", "n"):
                out += [
                    Stroke(
                        tuple((x * MM_PER_PT, y * MM_PER_PT) for x, y in path), width * MM_PER_PT, ink, dashed
                    )
                    for path in paths
                ]
            paths = []
        stack = []
    return out


def upright(strokes: list[Stroke]) -> list[Stroke]:
    """Straight lines that stand upright."""
    return [s for s in strokes if len(s.points) == 2 and abs(s.ends[0] - s.ends[2]) < 1e-4]


def level(strokes: list[Stroke]) -> list[Stroke]:
    """Straight lines that lie level."""
    return [s for s in strokes if len(s.points) == 2 and abs(s.ends[1] - s.ends[3]) < 1e-4]


def rendered(pdf: bytes, folder: Path, dpi: int, page: int = 1) -> np.ndarray:
    """Grey picture of a page, 0 black to 255 white, ``[row, col]``, as poppler draws it."""
    pdftoppm = program("pdftoppm", package="poppler-utils")
    source = folder / "page.pdf"
    source.write_bytes(pdf)
    subprocess.run(
        [pdftoppm, "-r", str(dpi), "-f", str(page), "-l", str(page), "-gray", source, folder / "page"],
        check=True,
        capture_output=True,
    )
    (picture,) = folder.glob("page-*.pgm")
    data = picture.read_bytes()
    picture.unlink()
    header = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data)
    assert header is not None
    cols, rows = int(header[1]), int(header[2])
    return np.frombuffer(data, np.uint8, offset=header.end()).reshape(rows, cols)


def words(pdf: bytes, folder: Path) -> str:
    """All text of a PDF, spaces joined."""
    source = folder / "text.pdf"
    source.write_bytes(pdf)
    pdftotext = program("pdftotext", package="poppler-utils")
    done = subprocess.run([pdftotext, "-layout", source, "-"], check=True, capture_output=True)
    return " ".join(done.stdout.decode("utf-8").split())


def text_boxes(pdf: bytes, folder: Path) -> list[list[tuple[str, tuple[float, float, float, float]]]]:
    """Words of every page with their boxes: left, lower, right, upper edge, mm from the lower left corner."""
    source = folder / "boxes.pdf"
    source.write_bytes(pdf)
    found = program("pdftotext", package="poppler-utils")
    done = subprocess.run([found, "-bbox", source, "-"], check=True, capture_output=True)
    pages = []
    for page in re.split(r"<page ", done.stdout.decode("utf-8"))[1:]:
        height = float(re.search(r'height="([\d.]+)"', page)[1])  # type: ignore[index]
        words = re.findall(r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)</word>', page)
        pages.append(
            [
                (
                    text,
                    tuple(
                        v * MM_PER_PT for v in (float(x0), height - float(y1), float(x1), height - float(y0))
                    ),
                )
                for x0, y0, x1, y1, text in words
            ]
        )
    return pages  # type: ignore[return-value]
