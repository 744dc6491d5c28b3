"""The commands that make the key and the checkpoints, and what they write."""

import stat

import pytest
from django.core.management import CommandError, call_command
from django.test.utils import override_settings

from reels.domain import checkpoint
from reels.models import CheckpointMade
from reels.services.checkpoint_key import checkpoint_key
from tests import builders


@pytest.fixture
def reel(db):
    return builders.make_reel()


def test_the_checkpoint_is_kept_and_written_out_as_it_is_kept(reel, tmp_path, capsys):
    call_command("make_checkpoint", "--out", str(tmp_path))
    made = CheckpointMade.objects.get()
    [path] = tmp_path.iterdir()
    assert path.name == f"checkpoint-{made.entries:012}.txt"
    assert path.read_bytes() == made.text.encode()
    assert f"{made.entries} entries" in capsys.readouterr().out
    call_command("make_checkpoint", "--out", str(tmp_path))
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_without_a_folder_it_is_printed(reel, capsys):
    call_command("make_checkpoint")
    assert capsys.readouterr().out == CheckpointMade.objects.get().text


def test_a_folder_that_is_not_there_is_said(reel, tmp_path):
    with pytest.raises(CommandError, match="nowhere"):
        call_command("make_checkpoint", "--out", str(tmp_path / "nowhere"))


def test_what_the_service_refuses_is_said(db):
    with pytest.raises(CommandError, match="Nothing is recorded yet"):
        call_command("make_checkpoint")


def test_a_key_is_made_once_that_only_its_owner_may_read_and_its_public_key_printed(tmp_path, capsys):
    path = tmp_path / "key.pem"
    with override_settings(CHECKPOINT_KEY_FILE=str(path)):
        call_command("make_checkpoint_key")
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert f"Public key: {checkpoint.public_hex(checkpoint_key())}\n" in capsys.readouterr().out
        before = path.read_bytes()
        with pytest.raises(CommandError, match="there already"):
            call_command("make_checkpoint_key")
        assert path.read_bytes() == before


def test_without_a_setting_or_a_folder_for_the_key_it_is_said(tmp_path):
    with override_settings(CHECKPOINT_KEY_FILE=""), pytest.raises(CommandError, match="CHECKPOINT_KEY_FILE"):
        call_command("make_checkpoint_key")
    nowhere = override_settings(CHECKPOINT_KEY_FILE=str(tmp_path / "nowhere" / "key.pem"))
    with nowhere, pytest.raises(CommandError, match="nowhere"):
        call_command("make_checkpoint_key")
