"""The units by which systemd runs the service and its nightly tasks."""

import re
import subprocess
from pathlib import Path

from tests.deployment.processes import SERVER


def test_systemd_finds_no_fault_in_the_units(tmp_path):
    for unit in (SERVER / "systemd").iterdir():
        instance = tmp_path / unit.name.replace("@", "@8001")
        instance.write_text(unit.read_text().replace("/opt/wrapledger", str(SERVER.parents[1])))
    names = [str(each) for each in tmp_path.iterdir()]
    ended = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *names], capture_output=True, text=True, check=False
    )
    about = [line for line in ended.stderr.splitlines() if "wrapledger" in line]
    assert (ended.returncode, about) == (0, [])


def test_every_timer_has_its_service_and_every_service_runs_something_that_is_there():
    units = {path.name for path in (SERVER / "systemd").iterdir()}
    assert {name.replace(".timer", ".service") for name in units if name.endswith(".timer")} <= units
    for name in units:
        for program in re.findall(r"/opt/wrapledger/(\S+)", (SERVER / "systemd" / name).read_text()):
            assert (Path(SERVER.parents[1]) / program).exists(), f"{name}: {program}"
