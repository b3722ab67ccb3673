"""How often examination tells copies of real models for what they are.

    PYTHONPATH=src:. python tests/benchmarks/examined.py --terrain FOLDER

FOLDER has the models of `tests.made_models.UNTOUCHED`; the sample massif is taken from the project.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import defaultdict
from pathlib import Path

from tests.made_models import UNTOUCHED, copies, read_made, rightly, told

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem" / "stey_massif.tif"


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--terrain", type=Path, required=True)
    folder = options.parse_args().terrain
    models = [SAMPLE, *(folder / f"{name}.tif" for name in UNTOUCHED if name != SAMPLE.stem)]
    right: dict[str, int] = defaultdict(int)
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as place:
        for path in models:
            before = told(path)
            more = before - UNTOUCHED[path.stem]
            print(
                f"{path.stem} as it is: {', '.join(sorted(before)) or 'nothing'}; too much: {more or 'none'}"
            )
            for name, kind, made in copies(read_made(path)):
                found = told(made.write(Path(place) / "copy.tif"))
                right[name] += rightly(kind, found, before)
                if not rightly(kind, found, before):
                    wrong.append(f"{path.stem}, {name}: {', '.join(sorted(found)) or 'nothing'}")
    print(f"| copy | told rightly of {len(models)} |\n|---|---|")
    for name, count in right.items():
        print(f"| {name} | {count} |")
    print(f"all: {sum(right.values())} of {len(models) * len(right)}; not: {'; '.join(wrong) or 'none'}")


if __name__ == "__main__":
    main()
