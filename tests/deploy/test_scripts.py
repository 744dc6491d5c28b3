"""The scripts parse, find a Python, make the environment only when its lock changed, and clear away what they made."""

import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
SCRIPTS = [DEPLOY / "demo", DEPLOY / "test", DEPLOY / "bare", DEPLOY / "environment.sh", DEPLOY.parent / ".ci" / "run"]

# A python that is new enough, and tells what it is asked to make and install.
FAKE_PYTHON = """#!/bin/sh
case "$*" in
"-m venv "*) echo made >>"$TOLD"; mkdir -p "$3/bin"; cp "$0" "$3/bin/python" ;;
"-m pip "*) echo "installed ${*##*/}" >>"$TOLD" ;;
esac
"""
OLD_PYTHON = "#!/bin/sh\nexit 1\n"


def program(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    path.chmod(0o755)
    return path


def run(script: str, home: Path, **env: str) -> "subprocess.CompletedProcess[str]":
    lines = f'set -eu; HOME_FOLDER="{home}"; . "{DEPLOY}/environment.sh"; {script}'
    return subprocess.run(
        ["/bin/sh", "-c", lines], env={"PATH": "/usr/bin:/bin", **env}, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_a_script_is_executable_and_parses(script):
    assert os.access(script, os.X_OK) or script.suffix == ".sh"
    assert subprocess.run(["sh", "-n", script], check=False).returncode == 0


@pytest.mark.parametrize("name", ["runtime.lock", "development.lock"])
def test_a_lock_names_no_host_and_every_pin_has_a_hash(name):
    text = (DEPLOY / name).read_text()
    assert re.findall(r"://|--(?:extra-)?index|--find-links|--trusted", text) == []
    pins = re.findall(r"^[a-z0-9.-]+(?:\[[a-z,]+\])?==.*(?:\n    .*)*", text, re.M)
    assert len(pins) > 20
    assert [pin.split()[0] for pin in pins if "--hash=sha256:" not in pin] == []


def test_the_development_lock_holds_the_runtime_lock():
    runtime, development = (set(re.findall(r"^\S+==\S+", (DEPLOY / f"{name}.lock").read_text(), re.M))
                            for name in ("runtime", "development"))  # fmt: skip
    assert runtime <= development


def test_the_python_asked_for_comes_first(tmp_path):
    mine = program(tmp_path / "my-python", FAKE_PYTHON)
    assert run("find_python", tmp_path, PYTHON=str(mine)).stdout == f"{mine}\n"


def test_a_python_that_is_too_old_or_does_not_run_is_passed_over(tmp_path):
    program(tmp_path / "python3.13", OLD_PYTHON)
    program(tmp_path / "python3.12", FAKE_PYTHON)
    program(tmp_path / "python3", FAKE_PYTHON)
    found = run("find_python", tmp_path, PATH=f"{tmp_path}:/usr/bin:/bin", PYTHON="/nowhere/python")
    assert found.stdout == "python3.12\n"


def test_without_a_python_it_says_what_to_do(tmp_path):
    for name in ("python3.13", "python3.12", "python3.11", "python3", "python"):
        program(tmp_path / name, OLD_PYTHON)
    ended = run("can_install() { false; }; need_python", tmp_path, PATH=f"{tmp_path}:/usr/bin:/bin")
    assert ended.returncode == 1
    assert "Python 3.11 or newer" in ended.stderr
    assert "apt-get install python3 python3-venv" in ended.stdout


class House:
    """A house of its own, whose environment is made by a python that only tells."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.told = folder, folder / "told"
        for name in ("runtime", "development"):
            self.write_lock(name, "first")
        self.python = program(folder / "base" / "python", FAKE_PYTHON)

    def write_lock(self, name: str, text: str) -> None:
        (self.folder / "deploy").mkdir(parents=True, exist_ok=True)
        (self.folder / "deploy" / f"{name}.lock").write_text(text)

    def need(self, lock: str) -> list[str]:
        """What is made and installed when this environment is needed."""
        self.told.write_text("")
        ended = run(f"need_environment {lock}", self.folder, PYTHON=str(self.python), TOLD=str(self.told))
        assert ended.returncode == 0, ended.stderr
        return self.told.read_text().splitlines()


@pytest.fixture
def house(tmp_path):
    return House(tmp_path / "house")


def test_an_environment_is_made_once(house):
    assert house.need("runtime") == ["made", "installed runtime.lock"]
    assert house.need("runtime") == []


def test_development_is_put_on_top_of_runtime_and_serves_both(house):
    house.need("runtime")
    assert house.need("development") == ["installed development.lock"]
    assert house.need("runtime") == house.need("development") == []


def test_a_changed_lock_makes_the_environment_anew(house):
    house.need("development")
    house.write_lock("development", "second")
    assert house.need("development") == ["made", "installed development.lock"]
    house.write_lock("runtime", "second")
    assert house.need("runtime") == ["made", "installed runtime.lock"]
    assert house.need("development") == ["installed development.lock"]


def test_a_house_that_was_moved_gets_an_environment_that_fits(house, tmp_path):
    house.need("runtime")
    shutil.move(house.folder, tmp_path / "moved")
    assert House(tmp_path / "moved").need("runtime") == ["made", "installed runtime.lock"]


def test_an_environment_that_could_not_be_finished_is_not_taken_for_one(house):
    house.python = program(house.folder / "base" / "python", FAKE_PYTHON.replace('echo "installed', 'exit 3; echo "'))
    ended = run("need_environment runtime", house.folder, PYTHON=str(house.python), TOLD=str(house.told))
    assert ended.returncode == 1
    assert not (house.folder / ".venv" / ".made-from-runtime").exists()


def test_the_demo_takes_no_other_argument():
    ended = subprocess.run(["sh", DEPLOY / "demo", "--twice"], capture_output=True, text=True, check=False)
    assert (ended.returncode, "Usage: sh deploy/demo [--once | --empty]" in ended.stderr) == (1, True)


def bare_machine(tmp_path, *, mmdebstrap: str, user: int = 0) -> dict[str, str]:
    """The environment of deploy/bare, with programs that only look as if they made a system and a namespace."""
    for name, text in {
        "id": f"echo {user}", "git": "exit 0", "mmdebstrap": mmdebstrap,
        "unshare": 'while [ "${1#--}" != "$1" ]; do shift; done; exec "$@"',
    }.items():  # fmt: skip
        program(tmp_path / "bin" / name, f"#!/bin/sh\n{text}\n")
    (tmp_path / "work").mkdir()
    return {"PATH": f"{tmp_path}/bin:/usr/bin:/bin", "TMPDIR": f"{tmp_path}/work", "TOLD": f"{tmp_path}/told"}


@pytest.mark.parametrize("arguments", [["--twice"], ["demo", "twice"], ["both", "--keep"], ["demo", "--keep"]])
def test_a_bare_machine_is_made_for_the_two_commands_only(arguments, tmp_path):
    env = bare_machine(tmp_path, mmdebstrap='touch "$TOLD"')
    process = subprocess.run(["sh", DEPLOY / "bare", *arguments], env=env, capture_output=True, text=True, check=False)
    assert (process.returncode, "Usage: sh deploy/bare [--keep] [demo | test" in process.stderr) == (1, True)
    assert not Path(env["TOLD"]).exists()


def test_a_bare_machine_is_made_by_root_only(tmp_path):
    env = bare_machine(tmp_path, mmdebstrap='touch "$TOLD"', user=1000)
    process = subprocess.run(["sh", DEPLOY / "bare"], env=env, capture_output=True, text=True, check=False)
    assert (process.returncode, "by root only" in process.stderr) == (1, True)
    assert not Path(env["TOLD"]).exists()


def test_a_bare_machine_that_cannot_be_made_is_said_so_and_cleared_away(tmp_path):
    env = bare_machine(tmp_path, mmdebstrap='mkdir "$TMPDIR"/bare.*/tree; exit 7')
    process = subprocess.run(["sh", DEPLOY / "bare"], env=env, capture_output=True, text=True, check=False)
    assert (process.returncode, "mmdebstrap could not make it" in process.stderr) == (1, True)
    assert list(Path(env["TMPDIR"]).iterdir()) == []


def test_a_bare_machine_is_cleared_away_and_what_runs_there_ended_when_it_is_stopped(tmp_path):
    env = bare_machine(tmp_path, mmdebstrap='echo $$ >"$TOLD.new"; mv "$TOLD.new" "$TOLD"; exec sleep 600')
    with subprocess.Popen(["sh", DEPLOY / "bare"], env=env, stdout=subprocess.PIPE, text=True) as process:
        while not Path(env["TOLD"]).exists():
            assert process.poll() is None
            time.sleep(0.05)
        process.terminate()
        assert process.wait(timeout=30) == 143
    with pytest.raises(ProcessLookupError):
        os.kill(int(Path(env["TOLD"]).read_text()), 0)
    assert list(Path(env["TMPDIR"]).iterdir()) == []


def test_a_command_whose_reader_has_seen_enough_ends_without_a_word():
    reads, writes = os.pipe()
    os.close(reads)
    command = [sys.executable, str(DEPLOY.parent / "manage.py"), "help"]
    ended = subprocess.run(command, stdout=writes, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writes)
    assert (ended.returncode, ended.stderr) == (1, "")
