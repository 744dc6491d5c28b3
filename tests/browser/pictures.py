"""Pictures of every page, for people to look at: `python -m tests.browser.pictures FOLDER`.

The pictures of the run before go into FOLDER/before. What differs from them is in FOLDER/changed: before and now side
by side, with a frame around what differs; a page that is new, alone.
"""

import argparse
import os
import shutil
import sys
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageDraw

FOLDER = "WRAPLEDGER_PICTURES"
MARK, GROUND, GAP, LINE = (214, 51, 108), (128, 128, 128), 16, 4  # colours; pixels between pictures, and of the frame


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.browser.pictures", description=__doc__)
    parser.add_argument("folder", type=Path, help="where the pictures go")
    folder = parser.parse_args().folder.resolve()
    put_aside(folder)
    os.environ[FOLDER] = str(folder)
    scripts = sorted(each for each in Path(__file__).parent.glob("take_*pictures.py"))
    status = pytest.main([*map(str, scripts), "-q"])
    changed = mark_changes(folder)
    found = (
        f"{len(changed)} pictures are new or changed: {folder / 'changed'}" if changed else "No picture has changed."
    )
    sys.stdout.write(f"{found}\n")
    return int(status)


def put_aside(folder: Path) -> None:
    """The pictures of the last run become those before, and what was marked is forgotten."""
    for name in ("before", "changed"):
        shutil.rmtree(folder / name, ignore_errors=True)
        (folder / name).mkdir(parents=True)
    for path in folder.glob("*.png"):
        path.rename(folder / "before" / path.name)


def mark_changes(folder: Path) -> list[str]:
    """The names of the pictures that are new, or differ from those before, in order; each is left in `changed`."""
    changed = []
    for path in sorted(folder.glob("*.png")):
        before = folder / "before" / path.name
        if not before.exists():
            shutil.copy(path, folder / "changed")
        elif (picture := marked(Image.open(before).convert("RGB"), Image.open(path).convert("RGB"))) is not None:
            picture.save(folder / "changed" / path.name)
        else:
            continue
        changed.append(path.name)
    return changed


def marked(before: Image.Image, now: Image.Image) -> Image.Image | None:
    """Both side by side with a frame around all that differs; None where no pixel does."""
    size = max(before.width, now.width), max(before.height, now.height)
    sheets = [Image.new("RGB", size, GROUND) for _ in range(2)]
    for sheet, picture in zip(sheets, (before, now), strict=True):
        sheet.paste(picture, (0, 0))
    differs = ImageChops.difference(*sheets).getbbox()
    if differs is None:
        return None
    both = Image.new("RGB", (2 * size[0] + GAP, size[1]), GROUND)
    for sheet, left in zip(sheets, (0, size[0] + GAP), strict=True):
        ImageDraw.Draw(sheet).rectangle(differs, outline=MARK, width=LINE)
        both.paste(sheet, (left, 0))
    return both


if __name__ == "__main__":
    sys.exit(main())
