"""A folder of real little pieces for the batch tests."""

from pathlib import Path

import pytest

from tests.batch.build import piece


@pytest.fixture
def music(tmp_path: Path) -> Path:
    """`music/` with a tree: 6 pieces in two folders, one hidden file, one text file."""
    root = tmp_path / "music"
    for i in range(6):
        folder = root / ("songs" if i % 2 else "hymns/old")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"piece {i}.mid").write_bytes(piece(i))
    (root / ".hidden.mid").write_bytes(piece(0))
    (root / "notes.txt").write_text("not music")
    return root
