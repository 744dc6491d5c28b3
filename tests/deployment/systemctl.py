"""Stands in for `systemctl` where the handbook's steps are run: it starts what the installed units say.

Folders and the proxy's configuration come from the environment: UNITS, RUN, NGINX. Sockets are not handed over; a node
binds its port itself.
"""

import os
import re
import shlex
import signal
import subprocess
import sys
from pathlib import Path

UNITS, RUN = Path(os.environ["UNITS"]), Path(os.environ["RUN"])


def unit_of(name: str) -> tuple[str, str]:
    """The text of an installed unit, and what stands behind its @."""
    instance = re.search(r"@([^.]*)\.", name)
    path = UNITS / re.sub(r"@[^.]*\.", "@.", name)
    return path.read_text().replace("%i", instance[1] if instance else ""), instance[1] if instance else ""


def start(name: str) -> None:
    text, instance = unit_of(name)
    if name.endswith((".socket", ".timer")):
        return
    environment = dict(os.environ)
    for line in Path(re.findall(r"^EnvironmentFile=(.*)$", text, re.M)[0]).read_text().splitlines():
        if line and not line.startswith("#"):
            key, _, value = line.partition("=")
            environment[key] = value
    environment["BIND"] = f"127.0.0.1:{instance}"
    environment["WEB_PROCESSES"] = "2"
    command = shlex.split(re.findall(r"^ExecStart=(.*)$", text, re.M)[0])
    folder = re.findall(r"^WorkingDirectory=(.*)$", text, re.M)[0]
    if "Type=oneshot" in text:
        sys.exit(subprocess.run(command, env=environment, cwd=folder, check=False).returncode)
    with (RUN / f"{name}.log").open("ab") as log:
        process = subprocess.Popen(command, env=environment, cwd=folder, stdout=log, stderr=log, start_new_session=True)
    (RUN / f"{name}.pid").write_text(str(process.pid))


def signalled(name: str, number: signal.Signals) -> None:
    os.kill(int((RUN / f"{name}.pid").read_text()), number)


def main(action: str, *names: str) -> None:
    if action in ("enable", "start"):
        for name in names:
            if name != "--now":
                start(name)
    elif action == "reload" and names == ("nginx",):
        (RUN / "nginx-reloaded").touch()
    elif action == "reload":
        signalled(names[0], signal.SIGHUP)
    elif action == "restart":
        signalled(names[0], signal.SIGTERM)
        start(names[0])
    elif action != "daemon-reload":
        sys.exit(f"{action} is not known here")


if __name__ == "__main__":
    main(*sys.argv[1:])
