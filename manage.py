"""Django's command line; works from any folder and finds the project's own environment."""

import os
import sys
from importlib.util import find_spec
from pathlib import Path

HOME = Path(__file__).resolve().parent
ENVIRONMENT = HOME / ".venv"


def main() -> None:
    if find_spec("django") is None:
        change_to_own_environment()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415  # Django may be missing above

    try:
        execute_from_command_line(sys.argv)
        sys.stdout.flush()
    except BrokenPipeError:  # whoever reads has seen enough: `drift_report | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)


def change_to_own_environment() -> None:
    python = ENVIRONMENT / "bin" / "python"
    if not python.exists() or Path(sys.prefix) == ENVIRONMENT:
        sys.exit("Django is not installed here. `sh deploy/demo` makes the environment that this command needs.")
    os.execv(python, [str(python), *sys.argv])  # noqa: S606  # the project's own interpreter, no shell


if __name__ == "__main__":
    main()
