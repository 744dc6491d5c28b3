"""What a deployment holds, measured and written to the handbook: `python -m tests.benchmarks [NAME…] [--small]`.

Runs the benchmarks below in turn, or those named, with their progress, and puts what each prints between its marks in
deploy/handbook/measurements.md. All of them take an hour or more; --small takes a few minutes, and writes nothing.
"""

import argparse
import subprocess
import sys

from tests.deployment.processes import HOME

PAGE = HOME / "deploy" / "handbook" / "measurements.md"
ON_POSTGRESQL = "tests.deployment.clusters python -m "
# What is run, and its arguments: for the handbook, and for a first look.
BENCHMARKS = {
    "posting": (f"{ON_POSTGRESQL}tests.benchmarks.posting", "202", "42"),
    "reading": ("tests.benchmarks.reading", "1000 10000 100000 --counts-each 50", "100 200"),
    "importing": ("tests.benchmarks.importing --postgresql", "20000 1000000", "500 1000"),
    "worksheets": ("tests.benchmarks.worksheets", "200 20", "20 3"),
    "storm": ("tests.benchmarks.storm", "50 200 800", "10 20"),
}


def run(command: str) -> str:
    """What it prints, shown while it runs. Ends the whole when it fails."""
    words = [sys.executable if word == "python" else word for word in command.split()]
    with subprocess.Popen(words, cwd=HOME, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        lines = []
        for line in process.stdout:
            sys.stdout.write(line)
            sys.stdout.flush()
            lines.append(line)
    if process.returncode:
        raise SystemExit(f"{command} ended with {process.returncode}")
    return "".join(lines)


def written(page: str, name: str, command: str, output: str) -> str:
    """The page with this in place of what stood between the marks of that name. Raises ValueError without marks."""
    before, rest = page.split(f"<!-- {name} -->\n")
    _, after = rest.split(f"<!-- /{name} -->")
    shown = output if output.startswith("|") else "".join(f"    {line}\n" for line in output.splitlines())
    return f"{before}<!-- {name} -->\n\n`{command}`\n\n{shown}\n<!-- /{name} -->{after}"


def main() -> None:
    asked = argparse.ArgumentParser(description="What a deployment holds, measured and written to the handbook.")
    asked.add_argument("names", nargs="*", metavar="NAME", help=f"which of {', '.join(BENCHMARKS)}; all, unless said")
    asked.add_argument("--small", action="store_true", help="for a first look; writes nothing")
    given = asked.parse_args()
    if unknown := set(given.names) - set(BENCHMARKS):
        asked.error(f"{', '.join(sorted(unknown))}: there is no such benchmark; there are {', '.join(BENCHMARKS)}")
    names = given.names or list(BENCHMARKS)
    for number, name in enumerate(names, start=1):
        program, full, small = BENCHMARKS[name]
        command = f"python -m {program} {small if given.small else full}"
        print(f"\n{number} of {len(names)}, {name}: {command}", flush=True)
        output = run(command)
        if not given.small:
            PAGE.write_text(written(PAGE.read_text("utf-8"), name, command, output), encoding="utf-8")


if __name__ == "__main__":
    main()
