"""Outside programs that look at our documents. In CI they must be there; elsewhere their tests are left out."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

JAVA = Path("/usr/share/java")
PREFLIGHT_JARS = (
    "preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "commons-io", "javax.activation", "jaxb-api",
)  # fmt: skip
PACKAGES = (
    "poppler-utils qpdf default-jre-headless libpdfbox2-java libcommons-io-java libactivation-java libjaxb-api-java"
)


def _missing(what: str) -> None:
    if os.environ.get("CI") == "true":
        pytest.fail(f"{what} is missing; apt-get install {PACKAGES}")
    pytest.skip(f"{what} is missing; apt-get install {PACKAGES}")


def run(name: str, *arguments: str | Path, allowed: tuple[int, ...] = (0,)) -> str:
    """What a program says on both of its outputs."""
    if shutil.which(name) is None:
        _missing(name)
    done = subprocess.run([name, *map(str, arguments)], capture_output=True, text=True, check=False)
    assert done.returncode in allowed, done.stdout + done.stderr
    return done.stdout + done.stderr


def preflight(path: Path) -> str:
    """What the second PDF/A validator says: Apache PDFBox Preflight, part 1b only."""
    jars = [JAVA / f"{name}.jar" for name in PREFLIGHT_JARS]
    if not all(jar.exists() for jar in jars):
        _missing("PDFBox Preflight")
    main = "org.apache.pdfbox.preflight.Validator_A1b"
    return run("java", "-cp", ":".join(map(str, jars)), main, path, allowed=(0, 1, 255))
