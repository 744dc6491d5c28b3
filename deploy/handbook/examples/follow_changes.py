"""Follow the feed of changes and print a line for each; what was printed once is never printed again.

    WRAPLEDGER_TOKEN=… python follow_changes.py http://127.0.0.1:8000 CURSOR_FILE [--once]

The cursor is written after the lines of a page, in one step; a run that is killed in between prints that page again, so
whoever acts on the lines does it by (reel, seq), which name an entry for good. Standard library only.
"""

import json
import os
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

PAUSE_S = 10


def page(service: str, after: str) -> dict[str, Any]:
    request = urllib.request.Request(
        f"{service}/api/v1/changes?after={after}", headers={"Authorization": f"Bearer {os.environ['WRAPLEDGER_TOKEN']}"}
    )
    with urllib.request.urlopen(request, timeout=30) as response:
        answer: dict[str, Any] = json.load(response)
        return answer


def keep(cursor: Path, after: str) -> None:
    """Write the cursor whole or not at all."""
    beside = cursor.with_suffix(".new")
    beside.write_text(after, encoding="utf-8")
    beside.replace(cursor)


def line(entry: dict[str, Any]) -> str:
    actor = entry["content"]["actor"]["name"]
    return f"{entry['at']} {entry['reel']} {entry['seq']}: {entry['act']} by {actor} [{entry['digest'][:12]}]"


def follow(service: str, cursor: Path, *, is_once: bool) -> None:
    while True:
        after = cursor.read_text(encoding="utf-8") if cursor.exists() else "0"
        try:
            answer = page(service, after)
        except urllib.error.HTTPError as error:
            if error.code not in (429, 500, 502, 503, 504):
                raise
            answer = {"results": [], "after": after, "more": False}
        except OSError:
            answer = {"results": [], "after": after, "more": False}
        for entry in answer["results"]:
            print(line(entry), flush=True)
        keep(cursor, answer["after"])
        if answer["more"]:
            continue
        if is_once:
            return
        time.sleep(PAUSE_S)


if __name__ == "__main__":
    follow(sys.argv[1].rstrip("/"), Path(sys.argv[2]), is_once="--once" in sys.argv)
