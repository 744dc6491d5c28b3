"""Pictures of every page, for people to look at: `python -m tests.browser.pictures OUT_DIR`."""

import argparse
import os
import sys
from pathlib import Path

import pytest

FOLDER = "WRAPLEDGER_PICTURES"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.browser.pictures", description=__doc__)
    parser.add_argument("folder", type=Path, help="where the pictures go")
    folder = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    os.environ[FOLDER] = str(folder.resolve())
    scripts = ("take_pictures.py", "take_worksheet_pictures.py", "take_desk_pictures.py",
               "take_practice_pictures.py", "take_report_pictures.py")  # fmt: skip
    return pytest.main([*(str(Path(__file__).with_name(name)) for name in scripts), "-q"])


if __name__ == "__main__":
    sys.exit(main())
