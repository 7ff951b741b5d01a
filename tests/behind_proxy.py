"""A company's pages as `calib help pages` sets them up: its unit's command and its proxy's text, run here on ports of this machine.

What the page names of a machine (ports, folders, the program's place) is put in its place, and each must stand in the page. Where
nginx is missing the test is skipped and says so, but never in CI: `.ci/run` installs it.
"""

import os
import re
import shlex
import shutil
import socket
import sqlite3
import ssl
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from pathlib import Path

from calib.faces.manual import pages
from calib.records.credentials import Credentials
from tests.missing import missing
from tests.postgres import free_port

NAME = "calib.example"
PATIENCE = 120  # [s] on a busy machine
PAGE = pages.source("pages")
UNIT, DROP_IN = re.findall(r"^```ini\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
(PROXY,) = re.findall(r"^```nginx\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
(CERTIFICATE,) = re.findall(r"^openssl .*$", PAGE, re.MULTILINE)
_THIS = [sys.executable, "-c", "from calib.faces.cli import main; main()"]
# Debian's own file, in short: what the proxy's text is included in.
_AROUND = """
{user}daemon off; pid {folder}/pid; error_log {folder}/error.log; worker_processes 1;
events {{ worker_connections 768; }}
http {{
    access_log {folder}/access.log; gzip on; gzip_proxied any; default_type application/octet-stream;
    client_body_temp_path {folder}/b; proxy_temp_path {folder}/p; fastcgi_temp_path {folder}/f; uwsgi_temp_path {folder}/u;
    scgi_temp_path {folder}/s;
    include {folder}/site;
}}
"""


def setting(name, of=UNIT):
    """The value of a setting of a unit, the last one that is given."""
    return re.findall(rf"^{name}=(.*)$", of, re.MULTILINE)[-1]


def program(name, package):
    """Path of a program of the machine; where there is none, the test is skipped and says why."""
    return shutil.which(name, path=f"{os.environ['PATH']}:/usr/sbin") or missing(f"needs Debian's package {package}")


def put_in_place(text, **places):
    """A text of the page with what it names of a machine put in its place; each must stand there."""
    for named, place in places.items():
        assert named in text, named
        text = text.replace(named, str(place))
    return text


class BehindProxy:
    """The pages by HTTPS on a machine of this test's own."""

    def __init__(self, records, folder):
        self.folder, self.records = Path(folder), Path(records)
        self.port, self.unencrypted, self._inner = (free_port() for _ in range(3))
        self.address = f"https://{NAME}:{self.port}"
        self.certificate, self.key = self.folder / "calib.pem", self.folder / "calib.key"
        self.credentials = Credentials(self.records.with_name(f"{self.records.name}.credentials"))
        self.said = self.folder / "journal"

    def log_up_to(self, asked):
        """What the proxy wrote of who asked for what, when it has written of this: it does so after it has answered."""
        until = time.monotonic() + PATIENCE
        while asked not in (log := (self.folder / "access.log").read_text()):
            assert time.monotonic() < until, log
            time.sleep(0.05)
        return log

    def forget_tries(self):
        """Let whoever tried too often try again, past the program."""
        with closing(sqlite3.connect(f"{self.records}.credentials", isolation_level=None)) as file:
            file.execute("DELETE FROM try")

    @property
    def trusted(self):
        """What a browser knows that was told to trust the certificate."""
        return ssl.create_default_context(cafile=str(self.certificate))

    def make_certificate(self):
        """Run the page's command."""
        places = {"/etc/ssl/private/calib.key": self.key, "/etc/ssl/certs/calib.pem": self.certificate}
        program("openssl", "openssl")
        subprocess.run(shlex.split(put_in_place(CERTIFICATE, **places)), check=True, capture_output=True)

    def make_site(self):
        """Write the proxy's text; what nginx says of it."""
        places = {
            "listen 80;": f"listen 127.0.0.1:{self.unencrypted};",
            "listen 443 ssl;": f"listen 127.0.0.1:{self.port} ssl;",
            "127.0.0.1:8417": f"127.0.0.1:{self._inner}",
            "https://calib.example": self.address,
            "/etc/ssl/private/calib.key": self.key,
            "/etc/ssl/certs/calib.pem": self.certificate,
        }
        (self.folder / "site").write_text(put_in_place(PROXY, **places))
        user = "user root; " if os.name == "posix" and os.geteuid() == 0 else ""
        (self.folder / "conf").write_text(_AROUND.format(folder=self.folder, user=user))
        return subprocess.run([*self._nginx, "-t"], capture_output=True, text=True, check=False)

    @property
    def _nginx(self):
        return [program("nginx", "nginx-light"), "-e", str(self.folder / "error.log"), "-c", str(self.folder / "conf")]

    def command(self):
        """The unit's command, with the program, the records and the ports of this machine."""
        places = {"/var/lib/calib/calibration.sqlite": self.records, "https://calib.example": self.address}
        words = shlex.split(put_in_place(setting("ExecStart"), **places))
        assert words[0] == "/opt/calib/bin/calib"
        return [*_THIS, *words[1:], "--port", str(self._inner)]

    @contextmanager
    def running(self):
        """Both, until the block ends and each is told to end. Of the unit's settings those hold that a test can."""
        self.make_certificate()
        assert self.make_site().returncode == 0
        bare = {
            "PATH": "/usr/bin:/bin",
            "HOME": str(self.folder),
            "PYTHONPATH": os.pathsep.join(filter(None, sys.path)),
        }
        limited = [program("setpriv", "util-linux"), "--no-new-privs"] if setting("NoNewPrivileges") == "yes" else []
        with self.said.open("wb") as said:
            serving = subprocess.Popen(
                [*limited, *self.command()],
                stderr=said,
                stdout=said,
                cwd=self.folder,
                env=bare,
                umask=int(setting("UMask"), 8),
            )
            proxy = subprocess.Popen(self._nginx, stderr=said, stdout=said)
            try:
                for port, process in ((self._inner, serving), (self.port, proxy)):
                    self._wait(port, process)
                yield self
            finally:
                for process in (proxy, serving):
                    process.terminate()
                ended = [process.wait(PATIENCE) for process in (proxy, serving)]
        assert ended == [0, 0], f"{ended} {self.said.read_text()}"

    def _wait(self, port, process):
        until = time.monotonic() + PATIENCE
        while True:
            try:
                socket.create_connection(("127.0.0.1", port)).close()
            except OSError:
                if process.poll() is not None or time.monotonic() > until:
                    raise AssertionError(self.said.read_text()) from None
                time.sleep(0.05)
            else:
                return
