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

    execute_from_command_line(sys.argv)


def change_to_own_environment() -> None:
    python = ENVIRONMENT / "bin" / "python"
    if not python.exists() or Path(sys.prefix) == ENVIRONMENT:
        sys.exit("Django is not installed here. `sh deploy/demo` makes the environment that this command needs.")
    os.execv(python, [str(python), *sys.argv])  # noqa: S606  # the project's own interpreter, no shell


if __name__ == "__main__":
    main()
