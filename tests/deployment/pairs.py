"""A primary and its synchronous standby."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.deployment.clusters import Cluster, as_postgres, workshop
from tests.deployment.processes import wait_until

NAME = "standby1"


class PrimaryAndStandby:
    """A primary and its standby, and the address by which the service is told of both."""

    def __init__(self, folder: Path) -> None:
        self.scripts = folder / "server"
        self.primary = Cluster(folder / "primary", wal_level="replica").make().start()
        self.standby = Cluster(folder / "standby")
        source = f"host=127.0.0.1 port={self.primary.port} user=postgres application_name={NAME}"
        as_postgres("pg_basebackup", f"--dbname={source}", f"--pgdata={self.standby.data}", "--write-recovery-conf",
                    "--wal-method=stream", "--checkpoint=fast")  # fmt: skip
        self.standby.start()
        self.primary.ask(f"ALTER SYSTEM SET synchronous_standby_names = '{NAME}'")
        self.primary.ask("SELECT pg_reload_conf()")
        wait_until(self.is_synchronous, "the standby has all of it")

    def go_on_with_one(self) -> None:
        """What whoever runs it decides when the standby is lost."""
        self.primary.ask("ALTER SYSTEM SET synchronous_standby_names = ''")
        self.primary.ask("SELECT pg_reload_conf()")

    def is_synchronous(self) -> bool:
        return bool(self.primary.ask("SELECT sync_state FROM pg_stat_replication") == [("sync",)])

    @property
    def url(self) -> str:
        ports = f"{self.primary.port},{self.standby.port}"
        where = f"user=postgres&host=127.0.0.1,127.0.0.1&port={ports}"
        return f"postgres:///postgres?{where}&target_session_attrs=read-write&connect_timeout=3"


@contextmanager
def running() -> Iterator[PrimaryAndStandby]:
    """Both, gone afterwards."""
    with workshop() as folder:
        made = PrimaryAndStandby(folder)
        try:
            yield made
        finally:
            made.primary.stop()
            made.standby.stop()
