"""Write the sample scores anew: `python sample_scores/generate.py [FOLDER]`, this folder if none is given."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

PIECES = ("evening_hymn", "string_trio", "pop_loop", "close_harmony_tag", "slow_piano")


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name in PIECES:
        data = importlib.import_module(f"pieces.{name}").build()
        (folder / f"{name}.mid").write_bytes(data)
        print(f"{folder / name}.mid  {len(data)} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
