"""Run every check of the project, in the order in which they are quick to fail.

Called by the test command of the README and by CI. Ends with exit status 1 where a check
failed, after all of them have run.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TOOLS = Path(sys.executable).parent
CHECKS = (
    ("ruff", "check", "."),
    ("ruff", "format", "--check", "."),
    ("lint-imports",),
    ("mypy",),
    ("pytest", "-n", str(min(os.cpu_count() or 1, 4))),
)
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
"""Our matrices are small: a second thread only waits, which costs a third more processor time."""


def main() -> int:
    """Run the checks; arguments are passed on to pytest."""
    failed = []
    for tool, *arguments in CHECKS:
        extra = sys.argv[1:] if tool == "pytest" else []
        print(f"== {tool} {' '.join([*arguments, *extra])}", flush=True)
        done = subprocess.run(
            [TOOLS / tool, *arguments, *extra], cwd=ROOT, env=ONE_THREAD | os.environ, check=False
        )
        if done.returncode:
            failed.append(tool)
    print(f"== failed: {', '.join(failed)}" if failed else "== every check passed", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
