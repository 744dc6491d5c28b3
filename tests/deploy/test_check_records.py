"""The stand-alone checker as its user runs it: a process of its own, with files and nothing else of the service."""

import base64
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from inspections.domain.words import Meaning
from inspections.models import Inspection
from inspections.services import maintenance, signing
from reels.domain import checkpoint, ledger
from reels.models import Person, Reel
from reels.services.checkpoint_key import checkpoint_key
from reels.services.history import Actor
from tests import builders
from tests.api_client import ApiClient
from tests.builders import administrator

CHECKER = Path(__file__).resolve().parents[2] / "deploy" / "handbook" / "check_records.py"


@dataclass(slots=True)
class ServedFiles:
    """A folder with everything that the service gives out, and the checker."""

    folder: Path
    key: str

    def run(self, *arguments: str) -> tuple[int, str]:
        """Exit status and what is printed. Names of files are those in the folder."""
        environment = {"PATH": os.environ["PATH"], "PYTHONIOENCODING": "utf-8"}
        done = subprocess.run(
            [sys.executable, str(CHECKER), *arguments], cwd=self.folder, env=environment, capture_output=True,
            text=True, check=False,
        )  # fmt: skip
        assert done.stderr == ""
        return done.returncode, done.stdout

    def signatures(self) -> tuple[int, str]:
        return self.run("signatures", "signatures.json", "history.jsonl", "later.txt", self.key, "end.json")

    def change(self, name: str, old: str, new: str) -> None:
        path = self.folder / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    def set(self, name: str, **values: Any) -> None:
        path = self.folder / name
        path.write_text(json.dumps({**json.loads(path.read_text()), **values}))


@pytest.fixture
def served(db, tmp_path):
    """A signed count with a checkpoint before and one after it."""
    cast = builders.Cast()
    builders.make_reel()
    way = ApiClient(administrator())
    earlier = way.post("checkpoints").json()
    inspection = builders.signed_count(cast)
    later = way.post("checkpoints").json()
    reader, n = ApiClient(cast.colleague), later["entries"]
    head = Reel.objects.get().chain.head
    files = {
        "earlier.txt": earlier["text"].encode(),
        "later.txt": later["text"].encode(),
        "history.jsonl": reader.get("reels/LW-0001/history/export").content,
        "inclusion.json": reader.get(f"checkpoints/{n}/inclusion?digest={head}").content,
        "end.json": reader.get(f"checkpoints/{n}/end?chain=reel:LW-0001").content,
        "none.json": reader.get(f"checkpoints/{n}/end?chain=reel:LW-0009").content,
        "consistency.json": reader.get(f"checkpoints/{n}/consistency?from={earlier['entries']}").content,
        "signatures.json": reader.get(f"inspections/{inspection.pk}/signatures/export").content,
    }
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    return ServedFiles(folder=tmp_path, key=checkpoint.public_hex(checkpoint_key()))


# What holds ---------------------------------------------------------------------------------------------------------


def test_what_the_service_gives_out_holds(served):
    reel = Reel.objects.get()
    status, says = served.run("checkpoint", "later.txt", served.key)
    assert (status, "in 2 chains holds" in says) == (0, True)
    status, says = served.run("history", "history.jsonl")
    follows = f"reel:LW-0001: {reel.chain.length} entries, each follows the one before; the last is {reel.chain.head}"
    assert (status, says) == (0, f"{follows}. Whether more came after it is not shown here.\n")
    status, says = served.run("history", "history.jsonl", "later.txt", served.key, "inclusion.json")
    assert (status, f"The first {reel.chain.length} were there" in says) == (0, True)
    status, says = served.run("end", "history.jsonl", "later.txt", served.key, "end.json")
    assert (status, f"whole; {reel.chain.length} were all there were when" in says) == (0, True)
    status, says = served.run("absent", "reel:LW-0009", "later.txt", served.key, "none.json")
    assert (status, says) == (0, "There was no history reel:LW-0009 when the checkpoint was made.\n")
    status, says = served.run("consistency", "earlier.txt", "later.txt", served.key, "consistency.json")
    assert (status, says.startswith("Nothing that the earlier checkpoint covers was changed")) == (0, True)
    status, says = served.signatures()
    assert (status, "“counted” by Tess Hollin" in says, "“verified” by Vic Amberley" in says) == (0, True, True)
    assert "not voided when the checkpoint was made: both signatures hold and were recorded" in says


def test_a_history_that_went_on_is_proved_up_to_the_checkpoint(served):
    length = Reel.objects.get().chain.length
    maintenance.place_hold(serial="LW-0001", reason="rust", actor=Actor(person("mona")), at=builders.later(days=1))
    grown = ApiClient(person("noel")).get("reels/LW-0001/history/export").content
    (served.folder / "history.jsonl").write_bytes(grown)
    status, says = served.run("history", "history.jsonl", "later.txt", served.key, "inclusion.json")
    assert status == 0
    assert f"{length + 1} entries, each follows the one before" in says
    assert f"The first {length} were there when the checkpoint was made" in says
    status, says = served.run("end", "history.jsonl", "later.txt", served.key, "end.json")
    assert status == 0
    assert f"{length} were all there were when the checkpoint was made; 1 came since." in says
    status, says = served.signatures()
    assert (status, "the history goes on after the checkpoint" in says) == (1, True)


def person(username: str) -> Person:
    return Person.objects.get(username=username)


def test_the_checker_needs_nothing_of_the_service():
    names = {line.split()[1].split(".")[0] for line in CHECKER.read_text().splitlines()
             if line.startswith(("import ", "from "))}  # fmt: skip
    assert names <= set(sys.stdlib_module_names) | {"cryptography"}


# What does not ------------------------------------------------------------------------------------------------------


def test_a_changed_checkpoint_and_another_key_are_found(served):
    other = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"  # RFC 8032, 7.1, test 2
    broken = (1, "BROKEN: the checkpoint's signature does not hold for this key.\n")
    assert served.run("checkpoint", "later.txt", other) == broken
    assert served.run("checkpoint", "later.txt", f"{other},{served.key}")[0] == 0  # the key was changed
    served.change("later.txt", "chains: 2", "chains: 3")
    assert served.run("checkpoint", "later.txt", served.key) == broken
    served.change("later.txt", "form 2", "form 3")
    assert served.run("checkpoint", "later.txt", served.key) == (
        1,
        "BROKEN: this is not a checkpoint of form 1 or 2.\n",
    )


def lines(served: ServedFiles) -> list[str]:
    return (served.folder / "history.jsonl").read_text().splitlines(keepends=True)


def test_a_history_whose_end_is_withheld_is_found(served):
    rows = lines(served)
    (served.folder / "history.jsonl").write_text("".join(rows[:-2]))
    assert served.run("history", "history.jsonl")[0] == 0
    status, says = served.run("end", "history.jsonl", "later.txt", served.key, "end.json")
    assert (status, "had another end when the checkpoint was made: entries are withheld" in says) == (1, True)


@pytest.mark.parametrize(
    ("name", "proof", "why"),
    [
        ("reel:LW-0001", "end.json", "a leaf that does not show"),
        ("reel:LW-0001", "none.json", "not show that there was no reel:LW-0001"),
        ("register", "none.json", "not show that there was no register"),
    ],
)
def test_a_history_that_was_there_is_not_shown_to_be_absent(served, name, proof, why):
    status, says = served.run("absent", name, "later.txt", served.key, proof)
    assert (status, why in says) == (1, True)


@pytest.mark.parametrize("hashes", [[], ["00" * 32], ["00" * 32] * 257])
def test_an_end_with_other_hashes_shows_nothing(served, hashes):
    served.set("end.json", hashes=hashes)
    served.set("none.json", hashes=hashes)
    assert served.run("end", "history.jsonl", "later.txt", served.key, "end.json")[0] == 1
    assert served.run("absent", "reel:LW-0009", "later.txt", served.key, "none.json")[0] == 1


def test_a_checkpoint_of_form_one_is_checked_and_shows_no_end(served):
    (served.folder / "later.txt").write_text(of_form_one(served))
    assert served.run("checkpoint", "later.txt", served.key)[0] == 0
    assert served.run("history", "history.jsonl", "later.txt", served.key, "inclusion.json")[0] == 0
    for command, what in (("end", "history.jsonl"), ("absent", "reel:LW-0009")):
        status, says = served.run(command, what, "later.txt", served.key, "end.json")
        assert (status, "form 1, which tells nothing of where histories end" in says) == (1, True)


def of_form_one(served: ServedFiles) -> str:
    """The later checkpoint as it was written before there were ends in it, signed again."""
    body = (served.folder / "later.txt").read_text().partition("signature: ")[0].replace("form 2", "form 1")
    body = "".join(line for line in body.splitlines(keepends=True) if not line.startswith("ends: "))
    return f"{body}signature: {checkpoint_key().sign(body.encode()).hex()}\n"


@pytest.mark.parametrize(
    "tamper",
    [
        pytest.param(lambda rows: rows[:2] + rows[3:], id="an entry removed"),
        pytest.param(lambda rows: [rows[0], rows[2], rows[1], *rows[3:]], id="two entries exchanged"),
        pytest.param(lambda rows: [*rows, rows[-1]], id="an entry twice"),
        pytest.param(lambda rows: rows[1:], id="without its beginning"),
        pytest.param(lambda rows: [edited(rows[0]), *rows[1:]], id="an entry edited"),
        pytest.param(lambda rows: [], id="empty"),
    ],
)
def test_a_history_that_is_not_whole_is_found(served, tamper):
    (served.folder / "history.jsonl").write_text("".join(tamper(lines(served))))
    status, says = served.run("history", "history.jsonl")
    assert (status, says.startswith("BROKEN: ")) == (1, True)


def edited(line: str) -> str:
    entry = json.loads(base64.b64decode(json.loads(line)["content"]))
    entry["actor"]["name"] = "Somebody Else"
    return json.dumps({"content": base64.b64encode(ledger.canonical(entry)).decode()}) + "\n"


@pytest.mark.parametrize("kept", [1, -1], ids=["all but the first entry gone", "the last entry gone"])
def test_a_history_cut_short_is_found_with_a_checkpoint(served, kept):
    (served.folder / "history.jsonl").write_text("".join(lines(served)[:kept]))
    assert served.run("history", "history.jsonl")[0] == 0
    status, says = served.run("history", "history.jsonl", "later.txt", served.key, "inclusion.json")
    assert (status, "for no entry of this history" in says) == (1, True)


def test_a_history_written_anew_is_found_with_a_checkpoint(served):
    """Its own digests all fit; only who keeps the checkpoint can tell."""
    prev, rows = ledger.FIRST_PREV, []
    for line in lines(served):
        entry = json.loads(base64.b64decode(json.loads(line)["content"]))
        entry["prev"], entry["actor"]["name"] = prev, "Somebody Else"
        content = ledger.canonical(entry)
        prev = ledger.digest(content)
        rows.append(json.dumps({"content": base64.b64encode(content).decode()}) + "\n")
    (served.folder / "history.jsonl").write_text("".join(rows))
    assert served.run("history", "history.jsonl")[0] == 0
    assert served.run("history", "history.jsonl", "later.txt", served.key, "inclusion.json")[0] == 1


@pytest.mark.parametrize(
    ("name", "values", "why"),
    [
        ("inclusion.json", {"index": 0}, "too few hashes, or too many"),
        ("inclusion.json", {"hashes": []}, "too few hashes"),
        ("inclusion.json", {"size": 3}, "the proof is for entry"),
        ("inclusion.json", {"index": 10**6}, "the proof is for entry"),
    ],
)
def test_a_wrong_proof_of_inclusion_is_found(served, name, values, why):
    served.set(name, **values)
    status, says = served.run("history", "history.jsonl", "later.txt", served.key, "inclusion.json")
    assert (status, why in says) == (1, True), says


def test_checkpoints_that_do_not_follow_are_found(served):
    swapped = served.run("consistency", "later.txt", "earlier.txt", served.key, "consistency.json")
    assert (swapped[0], "the earlier checkpoint has" in swapped[1]) == (1, True)
    served.set(
        "consistency.json",
        hashes=["00" * 32] * len(json.loads((served.folder / "consistency.json").read_text())["hashes"]),
    )
    changed = served.run("consistency", "earlier.txt", "later.txt", served.key, "consistency.json")
    assert (changed[0], "something was changed, removed or put in" in changed[1]) == (1, True)
    served.set("consistency.json", hashes=[])
    short = served.run("consistency", "earlier.txt", "later.txt", served.key, "consistency.json")
    assert (short[0], "too few hashes" in short[1]) == (1, True)


def test_signatures_that_do_not_fit_their_record_are_found(served):
    exported = json.loads((served.folder / "signatures.json").read_text())
    one, two = exported["signatures"]
    record = base64.b64decode(exported["record"])
    other = base64.b64encode(record.replace(b'"wraps":10', b'"wraps":11')).decode()
    assert other != exported["record"]
    named = base64.b64decode(one["statement"]).replace(b"Tess", b"Bess")
    forged = {"statement": base64.b64encode(named).decode(), "digest": one["digest"]}
    for values, why in (
        ({"record": other}, "signed another record than this one"),
        ({"signatures": [forged, two]}, "the statement of Bess Hollin was changed"),
        ({"signatures": [one, one]}, "two signatures are by the same person"),
        ({"signatures": []}, "of Tess Hollin, is missing"),
        ({"signatures": [one]}, "of Vic Amberley, is missing"),
        ({"signatures": [two]}, "of Tess Hollin, is missing"),
    ):
        (served.folder / "signatures.json").write_text(json.dumps({**exported, **values}))
        status, says = served.signatures()
        assert (status, says.endswith(f"{why}.\n")) == (1, True), says


def test_a_signature_made_up_whole_is_found_with_the_history(served):
    exported = json.loads((served.folder / "signatures.json").read_text())
    for each in exported["signatures"]:
        statement = base64.b64decode(each["statement"]).replace(b"Tess", b"Bess")
        each.update(statement=base64.b64encode(statement).decode(), digest=ledger.digest(statement))
    (served.folder / "signatures.json").write_text(json.dumps(exported))
    status, says = served.signatures()
    assert (status, "tells of no signature with the digest" in says) == (1, True)


def test_signatures_of_a_voided_count_say_so(served):
    count = Inspection.objects.get()
    cast = builders.Cast.as_needed()
    signing.request_void(inspection_id=count.pk, reason="wrong reel", actor=Actor(cast.verifier), at=builders.NOW)
    signing.confirm_void(inspection_id=count.pk, actor=Actor(cast.releaser), at=builders.NOW)
    before = (served.folder / "history.jsonl").read_bytes()
    newest = ApiClient(administrator()).post("checkpoints").json()
    way = ApiClient(cast.colleague)
    (served.folder / "later.txt").write_text(newest["text"])
    (served.folder / "history.jsonl").write_bytes(way.get("reels/LW-0001/history/export").content)
    end = way.get(f"checkpoints/{newest['entries']}/end?chain=reel:LW-0001").content
    (served.folder / "end.json").write_bytes(end)
    status, says = served.signatures()
    assert (status, "VOIDED since" in says) == (0, True), says
    (served.folder / "history.jsonl").write_bytes(before)
    status, says = served.signatures()
    assert (status, "had another end when the checkpoint was made" in says) == (1, True), says


def test_a_count_that_one_of_two_has_signed_does_not_pass(served):
    builders.make_reel("LW-0002")
    cast = builders.Cast.as_needed()
    count = builders.read(cast, builders.open_count(cast, "LW-0002"))
    builders.return_gauge(cast, count.pk)
    signing.sign(inspection_id=count.pk, meaning=Meaning.COUNTED, password=builders.PASSWORD,
                 actor=Actor(cast.technician), at=builders.NOW)  # fmt: skip
    newest = ApiClient(administrator()).post("checkpoints").json()
    way = ApiClient(cast.colleague)
    for name, address in {
        "history.jsonl": "reels/LW-0002/history/export",
        "signatures.json": f"inspections/{count.pk}/signatures/export",
        "end.json": f"checkpoints/{newest['entries']}/end?chain=reel:LW-0002",
    }.items():
        (served.folder / name).write_bytes(way.get(address).content)
    (served.folder / "later.txt").write_text(newest["text"])
    status, says = served.signatures()
    assert (status, "there is one signature of two: “counted” by Tess Hollin" in says) == (1, True), says


@pytest.mark.parametrize(
    "arguments",
    [
        ("checkpoint", "nowhere.txt", "00" * 32),
        ("history", "signatures.json"),
        ("history", "later.txt"),
        ("signatures", "later.txt", "history.jsonl", "later.txt", "KEY", "end.json"),
        ("consistency", "earlier.txt", "later.txt", "KEY", "earlier.txt"),
    ],
)
def test_what_cannot_be_read_is_said_and_is_no_verdict(served, arguments):
    status, says = served.run(*(served.key if each == "KEY" else each for each in arguments))
    assert (status, says.startswith("This cannot be read: ")) == (2, True), says


@pytest.mark.parametrize(
    "arguments", [(), ("unknown",), ("checkpoint",), ("history", "a", "b"), ("signatures", "a", "b")]
)
def test_without_a_command_or_its_files_it_says_how_it_is_used(tmp_path, arguments):
    status, says = ServedFiles(folder=tmp_path, key="").run(*arguments)
    assert (status, "python check_records.py consistency" in says) == (2, True)
