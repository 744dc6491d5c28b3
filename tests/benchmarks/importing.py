"""What bringing in older counts costs, and drift over the fleet: `python -m tests.benchmarks.importing [COUNTS…]`.

For each size (10000 and 100000 counts, unless said; a million takes a while) a new database gets a fleet in CSV files
through `manage.py import_records`; then `drift_report`, `verify_records` and the checks of two nights run over it.
Seconds, milliseconds a count, and the most memory that each took. The database is SQLite, or a durable PostgreSQL:
`python -m tests.benchmarks.importing --postgresql`.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import nullcontext
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.deployment import clusters
from tests.deployment.processes import HOME, python

COUNTS_A_REEL = 50
BEGIN = datetime(2020, 1, 6, 10, tzinfo=UTC)
TYPES = (
    "code,core_diameter_mm,cable_diameter_mm,wraps_odd_layer,wraps_even_layer,max_layers,layer_rise_mm,anchor_side,"
    "lead_wraps\nw28,310,11,28,27,20,,left,1\n"
)
# The check as the worker makes it: the first replays all and leaves marks, the second replays a share.
NIGHT = """
from reports.services.verification import AT_ONCE, CheckUnderWay, Night, check_more, end_check
check = CheckUnderWay(night=Night.of({day}), marks=[])
while check_more(check, AT_ONCE):
    pass
end_check(check)
assert check.result.broken is None, check.result.broken
"""


def write_fleet(folder: Path, counts: int) -> None:
    """CSV files of a fleet that loses nothing; every third count is a wrap off."""
    reels = range(counts // COUNTS_A_REEL)
    (folder / "reel_types.csv").write_text(TYPES)
    with (folder / "reels.csv").open("w") as out:
        out.write("serial,type,site,received_on,cable_length_m\n")
        out.writelines(f"IM-{n:06},w28,kettle-point,2020-01-02,400\n" for n in reels)
    with (folder / "counts.csv").open("w") as out:
        out.write("reel,counted_at,layers,wraps,counted_by,verified_by,document\n")
        out.writelines(_rows(reels))


def _rows(reels: range) -> Iterator[str]:
    for n in reels:
        for k in range(COUNTS_A_REEL):
            yield f"IM-{n:06},{(BEGIN + timedelta(days=14 * k)).isoformat()},12,{12 + (k % 3 == 2)},,,\n"


def cost(env: dict[str, str], *arguments: str) -> tuple[float, float]:
    """How many seconds a command took, and how many MB at most."""
    started = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "manage.py", *arguments],
        cwd=HOME,
        env=env,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as process:
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{arguments} ended with {process.returncode}")
    return time.perf_counter() - started, used.ru_maxrss / 1024


def measure(counts: int, address: Callable[[str], str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        env = {**os.environ, "WRAPLEDGER_ENV": "demo", "DATABASE_URL": address(folder)}
        write_fleet(Path(folder), counts)
        python(env, "manage.py", "migrate", "--verbosity", "0")
        python({**env, "DJANGO_SUPERUSER_PASSWORD": "an-invented-password-9"}, "manage.py", "createsuperuser",
               "--username", "orla", "--full-name", "Orla Finch", "--staff-number", "LWS-001")  # fmt: skip
        commands = {
            "import": ("import_records", folder), "drift": ("drift_report",), "check": ("verify_records", "--all"),
            "first night": ("shell", "-c", NIGHT.format(day=30)), "second night": ("shell", "-c", NIGHT.format(day=31)),
        }  # fmt: skip
        for what, command in commands.items():
            took_s, mb = cost(env, *command)
            each_ms = took_s * 1000 / counts
            print(f"| {what} | {counts} | {took_s:.0f} s | {each_ms:.2f} ms | {mb:.0f} MB |", flush=True)


def main() -> None:
    asked = argparse.ArgumentParser(description="What bringing in older counts costs, and drift over them.")
    asked.add_argument("counts", type=int, nargs="*", default=[10_000, 100_000])
    asked.add_argument("--postgresql", action="store_true")
    given = asked.parse_args()
    print("| what | counts | time | each count | most memory |\n|---|---|---|---|---|", flush=True)
    for counts in given.counts:
        with clusters.running() if given.postgresql else nullcontext() as cluster:
            measure(counts, lambda folder, at=cluster: at.url if at else f"sqlite:///{folder}/records.sqlite3")  # type: ignore[misc]  # at: bound now


if __name__ == "__main__":
    main()
