"""Folders of evidence of an invented fleet, as it grows act by act; and what somebody may do to such a folder."""

import base64
import json
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from inspections.domain.findings import Remedy
from inspections.domain.keying import FIELDS, roles_at
from inspections.domain.words import Act, Meaning, Point, Role
from inspections.models import Inspection
from inspections.queries.validity import validity_of
from inspections.services import authorisations, counting, findings, signing
from reels.domain import checkpoint, ledger, sparse_merkle
from reels.models import Reel
from reels.services import checkpoints
from reels.services.checkpoint_key import checkpoint_key
from reels.services.history import Actor
from reports.services.evidence import CHECKER, HANDBOOK, ask, evidence_files, stem_of
from tests import builders, stories
from tests.builders import GOOD, PASSWORD, Cast, later
from tests.inspections.domain.photo_files import JPEG_BYTES, PNG_BYTES
from tests.practised import practised
from tests.reports.documented import committed

OLD_SERIAL = "ŁW/7 Ω"  # as they were before serials were ASCII


# A fleet that grows -------------------------------------------------------------------------------------------------


def _stands(cast: Cast) -> None:
    builders.make_reel()
    builders.signed_count(cast)
    builders.confirmed(cast, builders.issued(cast))


def _voided(cast: Cast) -> None:
    builders.make_reel("LW-0002")
    count = builders.signed_count(cast, "LW-0002", at=later(days=1))
    stories.void(cast, count, at=later(days=2))


def _keyed_with_photos(cast: Cast) -> None:
    """Step by step, with two photos, a third reading and a finding; then the cable is cut."""
    builders.make_reel("LW-0003")
    at = later(days=3)
    count = builders.open_count(cast, "LW-0003", at=at)
    finding = builders.record_finding(cast.technician, "LW-0003", at=at, photo=PNG_BYTES, severity="watch")
    key_with_photos(cast, count, Point.SERIAL, Point.OPEN_SIDE, at=at)
    stories.differ(cast, count, at=at)
    stories.read_third(cast, stories.ask_third(cast, count, at=at), at=at)
    findings.close_finding(
        finding_id=finding.pk, remedy=Remedy.SOUND, reason="within limits", actor=Actor(cast.releaser), at=at
    )
    key_with_photos(cast, count, *list(Point)[2:], at=at)
    builders.sign_both(cast, count, at=at)
    builders.log_cut(cast, "LW-0003", at=later(days=4))


def key_with_photos(cast: Cast, count: Inspection, *points: Point, at: datetime) -> None:
    true = {"serial": count.reel.serial, **GOOD}
    for point in points:
        for role in roles_at(point):
            key_with_photo(cast, count, point, role, {name: true[name] for name in FIELDS[point] if name in true}, at)


def key_with_photo(cast: Cast, count: Inspection, point: Point, role: Role, seen: Any, at: datetime,
                   photo: bytes = b"") -> None:  # fmt: skip
    photo = photo or photo_of(point, role)
    counting.key_points(
        inspection_id=count.pk, role=role, by_point={point: seen}, at=at, photos={point: photo} if photo else None,
        actor=Actor(cast.technician if role is Role.TECHNICIAN else cast.verifier),
    )  # fmt: skip


def photo_of(point: Point, role: Role) -> bytes:
    return JPEG_BYTES if (point, role) in ((Point.GAUGE, Role.VERIFIER), (Point.SCALE_LEFT, Role.TECHNICIAN)) else b""


def _counted_again(cast: Cast) -> None:
    builders.make_reel("LW-0004")
    for day in (5, 6):
        builders.signed_count(cast, "LW-0004", at=later(days=day))


def _still_blind(cast: Cast) -> None:
    """Under way, with a photo of what the verifier has still to read."""
    builders.make_reel("LW-0005")
    count = builders.open_count(cast, "LW-0005", at=later(days=7))
    key_with_photos(cast, count, Point.SERIAL, Point.OPEN_SIDE, at=later(days=7))
    blind = JPEG_BYTES + b"\0"
    key_with_photo(cast, count, Point.SCALE_LEFT, Role.TECHNICIAN, {"scale_left": 13}, later(days=7), blind)


def _signed_by_one(cast: Cast) -> None:
    builders.make_reel("LW-0006")
    count = builders.read(cast, builders.open_count(cast, "LW-0006", at=later(days=8)), at=later(days=8))
    builders.return_gauge(cast, count.pk, later(days=8))
    signing.sign(inspection_id=count.pk, meaning=Meaning.COUNTED, password=PASSWORD, actor=Actor(cast.technician),
                 at=later(days=8))  # fmt: skip


def _older_serial(cast: Cast) -> None:
    builders.make_reel(OLD_SERIAL)
    at = later(days=9)
    count = builders.open_count(cast, OLD_SERIAL, at, has_gauge=False)
    builders.sign_both(cast, builders.read(cast, builders.take_gauge(cast, count, "WG-OLD", at), at), at)


def _moved_since(cast: Cast) -> None:
    builders.make_reel("LW-0008")
    builders.signed_count(cast, "LW-0008", at=later(days=10))
    builders.sent(cast, "LW-0008", at=later(days=11))
    builders.received(cast, "LW-0008", at=later(days=12))


def _respooled(cast: Cast) -> None:
    builders.make_reel("LW-0009")
    builders.signed_count(cast, "LW-0009", at=later(days=13))
    builders.log_event(cast, "respooled", "LW-0009", at=later(days=14))


def _ended_since(cast: Cast) -> None:
    """Nobody may count any more; what was signed stands."""
    by: Any = builders.second_administrator()
    held = cast.technician.authorisations.get(act=Act.COUNT)
    authorisations.end(authorisation=held, reason="left", actor=Actor(by), at=later(days=15))


def _practised(cast: Cast) -> None:
    practised(cast.colleague)


GROWTH: tuple[Callable[[Cast], None], ...] = (
    _stands, _voided, _keyed_with_photos, _counted_again, _still_blind, _signed_by_one, _older_serial, _moved_since,
    _respooled, _ended_since, _practised,
)  # fmt: skip


@dataclass(slots=True)
class GrownFleet:
    """The folders that were written as the fleet grew, and what the service itself says of each signed count."""

    folder: Path
    key: str
    intact: dict[str, Path] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)  # at the end, by serial and inspection
    checkpoints: list[str] = field(default_factory=list)

    @property
    def whole(self) -> Path:
        """The last one of everything, since the third checkpoint."""
        return self.intact["whole since"]


def grown_fleet(folder: Path) -> GrownFleet:
    """Grow it, and write a folder after each step; in the caller's transaction."""
    cast, fleet = Cast(), GrownFleet(folder=folder, key=checkpoint.public_hex(checkpoint_key()))
    for number, grow in enumerate(GROWTH):
        with committed():
            grow(cast)
        made = checkpoints.make(later(days=20, hours=number))
        fleet.checkpoints.append(made.text)
        written(fleet, f"after {grow.__name__.strip('_')}", made, None)
    serials = list(Reel.objects.order_by("pk").values_list("serial", flat=True))
    for number, serial in enumerate(serials):
        written(fleet, f"only {serial}", made, [serial], since=fleet.checkpoints[number])
    written(fleet, "two reels", made, ["LW-0003", OLD_SERIAL])
    written(fleet, "whole since", made, None, since=fleet.checkpoints[2])
    fleet.words = {f"{each.reel.serial}, inspection {each.pk}": word_for(each, made.made_at)
                   for each in Inspection.objects.filter(state__in=("signed", "voided"))}  # fmt: skip
    return fleet


def written(fleet: GrownFleet, name: str, made: Any, reels: list[str] | None, since: str = "") -> None:
    path = fleet.folder / f"{len(fleet.intact)}"
    for file, pieces in evidence_files(ask(made, reels, since=since)):
        (path / file).parent.mkdir(parents=True, exist_ok=True)
        (path / file).write_bytes(b"".join(pieces))
    fleet.intact[name] = path


def word_for(count: Inspection, at: datetime) -> str:
    validity = validity_of(count, at)
    assert validity is not None
    return str(validity.word)


def checked(folder: Path, key: str, *earlier: str) -> tuple[int, str]:
    """What the checker says of a folder, in a process of its own."""
    done = subprocess.run(
        [sys.executable, str(HANDBOOK / CHECKER), "all", str(folder), key, *earlier], capture_output=True, check=False,
        env={"PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert done.stderr == b"", done.stderr.decode()
    return done.returncode, done.stdout.decode()


# A folder in somebody's hands ---------------------------------------------------------------------------------------


class HandledFolder:
    """A copy of a folder, to be changed."""

    def __init__(self, original: Path, copy: Path) -> None:
        shutil.copytree(original, copy)
        self.path = copy

    def file(self, name: str) -> Path:
        return self.path / name

    def history(self, chain: str) -> Path:
        return self.file(f"histories/{stem_of(chain)}.jsonl")

    def lines(self, chain: str) -> list[str]:
        return self.history(chain).read_text().splitlines(keepends=True)

    def entries(self, chain: str) -> list[dict[str, Any]]:
        return [json.loads(base64.b64decode(json.loads(line)["content"])) for line in self.lines(chain)]

    def write(self, chain: str, entries: list[dict[str, Any]]) -> None:
        """The history with other entries, each following the one before: all its own digests fit."""
        self.history(chain).write_text("".join(line for line, _ in chained(entries)))

    def change_row(self, chain: str, table: str, change: Callable[[dict[str, Any]], None]) -> None:
        """Write a history anew in which the rows of a table were added otherwise."""
        entries = self.entries(chain)
        for entry in entries:
            for each in entry["changes"]:
                if each["table"] == table and each["before"] is None:
                    change(each["after"])
        self.write(chain, entries)

    def record(self, name: str) -> dict[str, Any]:
        return json.loads(self.file(name).read_text())  # type: ignore[no-any-return]

    def write_record(self, name: str, exported: dict[str, Any], content: bytes) -> None:
        """Another record, with statements that name it."""
        for each in exported["signatures"]:
            statement = {**json.loads(base64.b64decode(each["statement"])), "record": ledger.digest(content)}
            stated = ledger.canonical(statement)
            each.update(statement=base64.b64encode(stated).decode(), digest=ledger.digest(stated))
        exported["record"] = base64.b64encode(content).decode()
        self.file(name).write_text(json.dumps(exported))

    def one(self, pattern: str) -> Path:
        return sorted(self.path.glob(pattern))[0]

    def seal(self) -> None:
        """A new checkpoint, by the service's own key, over the histories as they are now; the proofs of their ends."""
        chains = {name: list(chained(self.entries(name))) for name in self.chains()}
        leaves = [sparse_merkle.leaf_of(name, len(lines), lines[-1][1]) for name, lines in chains.items()]
        practice = self.file(f"ends/{stem_of('practice')}.json")
        if practice.exists():
            proof = json.loads(practice.read_text())
            leaves.append(sparse_merkle.Leaf(bytes.fromhex(proof["key"]), bytes.fromhex(proof["end"])))
        root, nodes = sparse_merkle.with_leaves(sparse_merkle.EMPTY, leaves, {})
        for name in (*chains, *(["practice"] if practice.exists() else [])):
            path = sparse_merkle.path_to(name, root, nodes.__getitem__)
            assert path.leaf is not None
            self.file(f"ends/{stem_of(name)}.json").write_text(json.dumps({
                "key": path.leaf.key.hex(), "end": path.leaf.end.hex(), "hashes": [each.hex() for each in path.hashes]
            }))  # fmt: skip
        signed, key = checkpoint.lines_of(self.file("checkpoint.txt").read_text()), checkpoint_key()
        self.file("checkpoint.txt").write_text(checkpoint.signed_text(checkpoint.Checkpoint(
            service=signed["service"], made_at=datetime.fromisoformat(signed["made"]), entries=int(signed["entries"]),
            chains=len(leaves), root=signed["root"], ends=root.hex(), key=signed["key"],
        ), key))  # fmt: skip

    def chains(self) -> list[str]:
        first = (path.read_text().partition("\n")[0] for path in sorted(self.file("histories").iterdir()))
        return [json.loads(base64.b64decode(json.loads(line)["content"]))["chain"] for line in first]


def chained(entries: list[dict[str, Any]]) -> Iterator[tuple[str, str]]:
    """Each entry as a line, and its digest."""
    prev = ledger.FIRST_PREV
    for seq, entry in enumerate(entries, start=1):
        content = ledger.canonical({**entry, "seq": seq, "prev": prev})
        prev = ledger.digest(content)
        yield json.dumps({"content": base64.b64encode(content).decode()}) + "\n", prev
