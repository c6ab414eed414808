"""Processes of their own: their processor time and their memory."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path


def best_of_commands(
    contestants: Mapping[str, Sequence[str]], folder: Path, rounds: int = 7
) -> dict[str, float]:
    """Processor seconds of each command of Python, the best of several rounds taken in turn.

    Byte code is kept below `folder`, as for an installed program, whatever the environment says.
    """
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(folder / "byte code")}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    best = dict.fromkeys(contestants, float("inf"))
    for _ in range(rounds):
        for name, command in contestants.items():
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run([sys.executable, *command], check=True, capture_output=True, env=environment)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            used = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
            best[name] = min(best[name], used)
    return best


# Linux counts the memory of the process that was copied to start this one into `ru_maxrss`; VmHWM starts afresh.
_PEAK_KB = """
import sys
if sys.platform == "linux":
    print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
else:
    import resource
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // (1024 if sys.platform == "darwin" else 1))
"""


def memory_of(code: str, *arguments: str) -> int:
    """Most memory a process of Python held while it ran some code [bytes]."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{_PEAK_KB}", *arguments], check=True, capture_output=True, text=True
    )
    return 1024 * int(done.stdout.split()[-1])
