"""Make gdaldem_answers.json: what gdaldem answers for a few windows, so that tests need no gdaldem.

Run ``python tests/data/make_gdaldem_answers.py`` with gdaldem on the path.
"""

import json
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

HERE = Path(__file__).parent
COMMANDS = {
    "slope_horn_deg": "gdaldem slope -q -alg Horn window.tif answer.tif",
    "slope_zevenbergen_thorne_deg": "gdaldem slope -q -alg ZevenbergenThorne window.tif answer.tif",
    "aspect_horn_deg": "gdaldem aspect -q -alg Horn window.tif answer.tif",
    "aspect_zevenbergen_thorne_deg": "gdaldem aspect -q -alg ZevenbergenThorne window.tif answer.tif",
}


def answers(heights, cell_m: float, folder: Path) -> dict[str, float]:
    """Run every command on one 3 x 3 window and take the middle cell."""
    array = np.array(heights, dtype=np.float32)
    profile = {"driver": "GTiff", "height": 3, "width": 3, "count": 1, "dtype": "float32"}
    place = {"crs": "EPSG:32630", "transform": from_origin(500_000.0, 6_300_000.0, cell_m, cell_m)}
    with rasterio.open(folder / "window.tif", "w", **profile, **place) as out:
        out.write(array, 1)
    found = {}
    for name, command in COMMANDS.items():
        subprocess.run(command.split(), cwd=folder, check=True)
        with rasterio.open(folder / "answer.tif") as answer:
            found[name] = round(float(answer.read(1)[1, 1]), 6)
    return found


def windows() -> list[dict]:
    """The published windows and some of real ground."""
    found = [
        {"name": "published slope", "cell_m": 5.0, "heights_m": [[50, 45, 50], [30, 30, 30], [8, 10, 10]]},
        {
            "name": "published aspect",
            "cell_m": 30.0,
            "heights_m": [[101, 92, 85], [101, 92, 85], [101, 91, 84]],
        },
    ]
    with rasterio.open(HERE / "grand_canyon_128.tif") as tile:
        heights = tile.read(1)
    for row, col in ((5, 9), (30, 100), (64, 64), (90, 20), (115, 77)):
        part = heights[row - 1 : row + 2, col - 1 : col + 2].tolist()
        found.append({"name": f"canyon, row {row}, column {col}", "cell_m": 60.0, "heights_m": part})
    return found


def main() -> None:
    """Write the file."""
    version = subprocess.run(["gdaldem", "--version"], check=False, capture_output=True, text=True).stdout
    with tempfile.TemporaryDirectory() as folder:
        cases = [
            case | {"answers": answers(case["heights_m"], case["cell_m"], Path(folder))} for case in windows()
        ]
    stored = {"made_with": version.splitlines()[0], "commands": COMMANDS, "windows": cases}
    (HERE / "gdaldem_answers.json").write_text(json.dumps(stored, indent=1) + "\n")


if __name__ == "__main__":
    main()
