"""Write the invented plant and the ugly register into a folder: ``python -m seed_data FOLDER``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from seed_data.generate import generate, write
from seed_data.ugly import write_mended, write_ugly


def main(arguments: list[str] | None = None) -> int:
    """Make the files.

    Parameters
    ----------
    arguments : list of str or None
        Words of the command line; those of the program itself when ``None``. [unitless]

    Returns
    -------
    int
        0. [unitless]
    """
    parser = argparse.ArgumentParser(
        prog="python -m seed_data", description="Write the invented demo plant into a folder."
    )
    parser.add_argument("folder", type=Path, help="where to; it is made if it is not there")
    folder: Path = parser.parse_args(arguments).folder
    plant = generate()
    for path in write(folder, plant):
        sys.stdout.write(f"{path}\n")
    faults = write_ugly(folder / "ugly-register.xlsx")
    write_mended(folder / "ugly-register-mended.xlsx")
    sys.stdout.write(f"{folder / 'ugly-register.xlsx'} ({len(faults)} faults planted)\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
