"""A drill: the records are backed up while they are written to, lost, restored, and found whole."""

import shutil
import subprocess
import time

import pytest

from tests.deployment import clusters
from tests.deployment.checks import make_world, wrong
from tests.deployment.clusters import as_postgres
from tests.deployment.load import Load
from tests.deployment.processes import SERVER, Direct, Node, manage, settings_of, wait_until

REELS = 60


def backup(env, folder, **more):
    done = subprocess.run(
        [SERVER / "backup", folder], env={**env, "PG_BIN": str(clusters.bin_folder()), **more}, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()[-1]


@pytest.fixture
def at_work():
    """A node on a database, with a load that may be let run."""
    nodes = []

    def start(env):
        world = make_world(env, REELS)
        nodes.append(Node(env, application="tests.served_app").start().ready())
        return Load(Direct(nodes[0].port), world), nodes[0]

    yield start
    for node in nodes:
        node.stop()


def test_sqlite_is_backed_up_while_it_is_written_and_restored_whole(tmp_path, at_work):
    records = tmp_path / "records.sqlite3"
    env = settings_of(tmp_path, f"sqlite:///{records}")
    load, node = at_work(env)
    with load.running():
        wait_until(lambda: len(load.acknowledged) > 10, "some work is done", 60)
        before = list(load.acknowledged)
        kept = backup(env, tmp_path / "backups")
        wait_until(lambda: len(load.acknowledged) > len(before) + 10, "more work is done", 60)
    node.stop()
    for lost in tmp_path.glob("records.sqlite3*"):
        lost.unlink()
    shutil.copy(kept, records)
    load.acknowledged = before
    assert wrong(env, load) == []


def test_only_the_newest_backups_are_kept(tmp_path):
    env = settings_of(tmp_path, f"sqlite:///{tmp_path}/records.sqlite3")
    manage(env, "migrate", "--verbosity", "0")
    for number in range(3):
        (tmp_path / "backups" / f"wrapledger-2025010{number}T000000Z").mkdir(parents=True)
    newest = backup(env, tmp_path / "backups", KEEP_BACKUPS="2")
    left = sorted(str(path) for path in (tmp_path / "backups").iterdir())
    assert left == [str(tmp_path / "backups" / "wrapledger-20250102T000000Z"), newest]


def test_a_copy_that_is_not_whole_is_not_kept_as_a_backup(tmp_path):
    (tmp_path / "records.sqlite3").write_bytes(b"SQLite format 3\x00" + b"\xff" * 8000)
    env = settings_of(tmp_path, f"sqlite:///{tmp_path}/records.sqlite3")
    ended = subprocess.run([SERVER / "backup", tmp_path / "backups"], env=env, capture_output=True, check=False)
    assert ended.returncode != 0
    assert list((tmp_path / "backups").iterdir()) == []


@pytest.mark.long
def test_postgresql_is_restored_to_a_moment_between_a_backup_and_a_disaster(tmp_path, at_work):
    with clusters.workshop() as folder:
        archive = folder / "archive"
        as_postgres("mkdir", archive, folder / "backups")
        primary = clusters.Cluster(
            folder / "primary", archive_mode="on", archive_command=f'{folder}/server/archive_wal "%p" "%f" {archive}'
        ).make()
        restored = clusters.Cluster(folder / "restored")
        try:
            primary.start()
            env = settings_of(tmp_path, primary.url)
            load, node = at_work(env)
            kept = as_postgres(folder / "server" / "backup", folder / "backups", DATABASE_URL=primary.url).splitlines()[
                -1
            ]
            with load.running():
                wait_until(lambda: len(load.acknowledged) > 15, "some work is done", 60)
            before = list(load.acknowledged)
            moment = primary.ask("SELECT now()")[0][0].isoformat()
            time.sleep(0.2)
            with load.running():
                wait_until(lambda: len(load.acknowledged) > len(before) + 10, "more work is done", 60)
            primary.ask("SELECT pg_switch_wal()")
            wait_until(lambda: primary.ask("SELECT last_archived_wal FROM pg_stat_archiver")[0][0], "the log is kept")
            time.sleep(1)
            node.stop()
            primary.kill()

            as_postgres(folder / "server" / "restore_postgresql", kept, archive, restored.data, moment)
            restored.start()
            wait_until(lambda: not restored.ask("SELECT pg_is_in_recovery()")[0][0], "the log is played")
            after, load.acknowledged = load.acknowledged, before
            env["DATABASE_URL"] = restored.url
            assert wrong(env, load) == []
            load.acknowledged = after[len(before) :]
            assert len(wrong(env, load)) >= len(load.acknowledged), "what came after the moment is not there"
        finally:
            primary.stop()
            restored.stop()


def test_a_restore_is_never_put_over_other_records(tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "PG_VERSION").write_text("15")
    command = [SERVER / "restore_postgresql", tmp_path, tmp_path, tmp_path / "data"]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (ended.returncode, "is not empty" in ended.stderr) == (1, True)


def test_a_piece_of_the_log_is_kept_once_and_never_replaced(tmp_path):
    piece, archive = tmp_path / "0001", tmp_path / "archive"
    archive.mkdir()

    def keep(content):
        piece.write_text(content)
        return subprocess.run([SERVER / "archive_wal", piece, "0001", archive], check=False).returncode

    assert [keep("log"), keep("log"), keep("another")] == [0, 0, 1]
    assert [(path.name, path.read_text()) for path in archive.iterdir()] == [("0001", "log")]
