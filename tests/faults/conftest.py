"""Disks and books for bad days: real ones."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True)
class Disk:
    """A file system of its own, 32 MB."""

    path: Path

    def fill(self) -> Path:
        """Write until not one byte more goes onto the disk."""
        filler = self.path / "filler"
        size = 1 << 20
        with filler.open("ab", buffering=0) as stream:
            while size:
                try:
                    if stream.write(b"\0" * size) < size:
                        size //= 2
                except OSError:
                    size //= 2
        return filler

    def mount_again(self, how: str) -> None:
        subprocess.run(["mount", "-o", f"remount,{how}", str(self.path)], check=True, capture_output=True)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    """Mount a real file system of 32 MB: in a file where that can be, in memory otherwise."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("a file system of its own can only be mounted as root")
    place, image = tmp_path / "disk", tmp_path / "image"
    place.mkdir()
    with image.open("wb") as stream:
        stream.truncate(32 << 20)
    made = subprocess.run(["mkfs.ext4", "-q", "-F", "-m", "0", str(image)], check=False, capture_output=True)
    mounted = made.returncode == 0 and _mount("-o", "loop", str(image), str(place))
    if not mounted and not _mount("-t", "tmpfs", "-o", "size=32m", "tmpfs", str(place)):
        pytest.skip("this machine lets nobody mount a file system, not even root")
    yield Disk(place)
    subprocess.run(["umount", "-l", str(place)], check=True, capture_output=True)


def _mount(*arguments: str) -> bool:
    try:
        return subprocess.run(["mount", *arguments], check=False, capture_output=True).returncode == 0
    except FileNotFoundError:
        return False
