"""Every test of reports seals with a key of its own run, never with the demo's."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.test.utils import override_settings

from reports.pdf import seal_keys
from tests.reports.pdf.keys import key_of


@pytest.fixture(autouse=True)
def seal_files(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("seal")
    (folder / "key.pem").write_bytes(seal_keys.key_pem(key_of()))
    (folder / "certificates.pem").write_bytes(seal_keys.certificate_pem(key_of().certificate))
    files = {"SEAL_KEY_FILE": str(folder / "key.pem"), "SEAL_CERT_FILE": str(folder / "certificates.pem")}
    with override_settings(**files):
        yield folder
