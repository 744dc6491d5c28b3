"""Labels: a printed code is read by a program that is not ours, and leads to the reel's page and nothing else."""

import subprocess
from pathlib import Path

import pytest

from reels.services.reels import ReelNumbers
from reports.pages.pdf import MOST_LABELS
from tests import builders
from tests.builders import Cast
from tests.page_fixtures import logged_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


@pytest.fixture
def cast(settings):
    settings.PUBLIC_URL = "https://reels.example"
    builders.make_reel("LW-0001", numbers=ReelNumbers(part_number="LWS-350-2"))
    builders.make_reel("LW 0002")
    return Cast.as_needed()


def run(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def codes_on(content: bytes, folder: Path) -> list[str]:
    """What ZBar's zbarimg reads from the first page."""
    (folder / "labels.pdf").write_bytes(content)
    run("pdftoppm", "-r", "150", "-png", "-f", "1", "-l", "1", str(folder / "labels.pdf"), str(folder / "page"))
    [picture] = folder.glob("page*.png")
    return sorted(run("zbarimg", "--quiet", "--raw", str(picture)).split("\n")[:-1])


def test_the_code_of_a_label_is_the_address_of_the_reels_page(cast, tmp_path):
    answer = logged_in(cast.colleague).get("/documents/labels/LW-0001.pdf")
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
    assert codes_on(answer.content, tmp_path) == ["https://reels.example/reels/LW-0001"]
    words = run("pdftotext", "-layout", str(tmp_path / "labels.pdf"), "-")
    for shown in ("LW-0001", "w28", "P/N LWS-350-2", "never off a label"):
        assert shown in words


def test_a_sheet_has_a_label_for_each_reel_in_service_at_the_site(cast, tmp_path):
    content = logged_in(cast.colleague).get("/documents/labels.pdf?site=kettle-point").content
    assert codes_on(content, tmp_path) == [
        "https://reels.example/reels/LW%200002",
        "https://reels.example/reels/LW-0001",
    ]
    stranger = logged_in(cast.stranger).get("/documents/labels.pdf")
    assert stranger.status_code == 409
    assert f"no reels to print labels for; 1 to {MOST_LABELS}" in stranger.content.decode()


def test_the_api_gives_the_same_label_to_whoever_may_see_the_reel(cast, tmp_path):
    answer = logged_in(cast.colleague).get("/api/v1/reels/LW-0001/label.pdf")
    assert codes_on(answer.content, tmp_path) == ["https://reels.example/reels/LW-0001"]
    assert logged_in(cast.stranger).get("/api/v1/reels/LW-0001/label.pdf").status_code == 404


def test_the_pages_lead_to_it(cast):
    client = logged_in(cast.colleague)
    assert 'href="/documents/labels/LW-0001.pdf"' in client.get("/reels/LW-0001").content.decode()
    assert 'href="/documents/labels.pdf?site=kettle-point"' in client.get("/documents").content.decode()
