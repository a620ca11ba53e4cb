"""Ceph's object gateway on one node: a strict, quick S3 server that checks the signed SHA-256 of what arrives.

Needs Debian's or Ubuntu's ceph-mon, ceph-osd, radosgw and ceph-common. One monitor, one OSD on a sparse file, one
gateway; authentication inside the cluster is off, since nothing but 127.0.0.1 reaches it.
"""

import getpass
import shutil
import subprocess
import time
import uuid
from pathlib import Path

from tests.servers.process import free_port
from tests.servers.s3 import OwnServer, ServerMissingError, ServerNotReadyError

PROGRAMS = ("ceph", "ceph-mon", "ceph-osd", "monmaptool", "radosgw", "radosgw-admin")
DISK = 24 * 1024**3  # bytes, sparse

CONFIGURATION = """
[global]
fsid = {fsid}
mon host = v1:127.0.0.1:{mon_port}
public addr = 127.0.0.1
cluster addr = 127.0.0.1
auth cluster required = none
auth service required = none
auth client required = none
ms bind msgr2 = false
run dir = {folder}
admin socket = {folder}/$name.$pid.asok
log file = {folder}/$name.log
mon cluster log file = {folder}/cluster.log
crash dir = {folder}
osd pool default size = 1
osd pool default min size = 1
osd pool default pg num = 8
osd pool default pgp num = 8
osd pool default pg autoscale mode = off
osd crush chooseleaf type = 0
osd class load list = *
osd class default list = *

[mon]
mon data = {folder}/mon
mon allow pool size one = true
mon warn on pool no redundancy = false
mon data avail crit = 1
mon data avail warn = 2
paxos propose interval = 0.1

[osd]
osd data = {folder}/osd
osd objectstore = bluestore
bluestore block size = {disk}
bluestore block create = true
osd crush update on start = false
osd class update on start = false
osd client watch timeout = 5
osd memory target = 1073741824

[client.rgw]
rgw frontends = beast endpoint=127.0.0.1:{rgw_port} tcp_nodelay=1
rgw data = {folder}/rgw
rgw enable usage log = false
"""


# Why no "update on start": an OSD that says where it is before it knows the cluster's fsid is refused and ends, once
# in ten starts; `prepare` has said where it is.


class Ceph(OwnServer):
    patience = 120.0

    def __init__(self) -> None:
        absent = [program for program in PROGRAMS if shutil.which(program) is None]
        if absent:
            raise ServerMissingError(
                f"no {', '.join(absent)} found: apt-get install ceph-mon ceph-osd radosgw ceph-common"
            )
        self._mon_port, self._rgw_port = free_port(), free_port()
        super().__init__(f"http://127.0.0.1:{self._rgw_port}", "access-key", "secret-key")

    def prepare(self) -> None:
        fsid, osd_uuid = str(uuid.uuid4()), str(uuid.uuid4())
        for part in ("mon", "osd", "rgw"):
            (self.folder / part).mkdir()
        self._configuration.write_text(
            CONFIGURATION.format(
                fsid=fsid, folder=self.folder, mon_port=self._mon_port, rgw_port=self._rgw_port, disk=DISK
            )
        )
        monmap = self.folder / "monmap"
        address = f"[v1:127.0.0.1:{self._mon_port}]"
        self._ask("monmaptool", "--create", "--fsid", fsid, "--addv", "a", address, monmap)
        self._ask("ceph-mon", *self._here, "--mkfs", "--id", "a", "--monmap", monmap)
        self._start_monitor()
        self._ask_monitor("osd", "new", osd_uuid)
        self._ask("ceph-osd", *self._here, "--mkfs", "--id", "0", "--osd-uuid", osd_uuid)
        self._ask_monitor("osd", "crush", "add", "osd.0", "1.0", "host=h", "root=default")
        self._start_osd()
        keys = ("--access-key", self.access_key, "--secret-key", self.secret_key)
        who = ("--uid", "tests", "--display-name", "tests", "--max-buckets", "0")
        self._ask("radosgw-admin", *self._here, "user", "create", *who, *keys, "--name", "client.rgw")

    def start(self) -> None:
        if not self.processes:
            self._start_monitor()
            self._start_osd()
        self.run("radosgw", *self._here, "-f", "--name", "client.rgw", *self._as_us)

    @property
    def _configuration(self) -> Path:
        return self.folder / "ceph.conf"

    @property
    def _here(self) -> tuple[str, str]:
        return "--conf", str(self._configuration)

    @property
    def _as_us(self) -> tuple[str, ...]:
        """Started as root, the daemons would become the user `ceph`, who may not enter the folder."""
        return ("--setuser", "root", "--setgroup", "root") if getpass.getuser() == "root" else ()

    def _start_monitor(self) -> None:
        self.run("ceph-mon", *self._here, "-f", "--id", "a", *self._as_us)
        self._ask_monitor("osd", "stat")

    def _start_osd(self) -> None:
        self.run("ceph-osd", *self._here, "-f", "--id", "0", *self._as_us)

    def _ask_monitor(self, *command: str) -> None:
        """For its first moments the monitor refuses with EPERM, and on a busy machine once more after it answered."""
        give_up = time.monotonic() + self.patience
        while True:
            try:
                return self._ask("ceph", *self._here, *command)
            except ServerNotReadyError:
                if time.monotonic() > give_up:
                    raise
            time.sleep(0.2)

    def _ask(self, *command: str | Path) -> None:
        done = subprocess.run(
            command, check=False, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=self.patience
        )
        if done.returncode:
            raise ServerNotReadyError(f"{' '.join(map(str, command))} ended with {done.returncode}:\n{done.stderr}")
