"""The server in the site's own network: certificate, landing page, codes to scan."""

from __future__ import annotations

import io
import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import segno

from assistant.errors import ThirdhandError
from assistant.server.addresses import Names, local_names
from assistant.server.app import create_app
from assistant.server.certificates import ALWAYS, Leaf, authority
from assistant.server.landing import create_landing, grouped
from assistant.server.pairing import Pairing
from assistant.server.serve import listen

if TYPE_CHECKING:
    from assistant.job import Jobs

LOOK_EVERY_S = 15.0
EVERYWHERE = "0.0.0.0"  # noqa: S104 (every device of the site is to reach it)


def _drawn(text: str) -> list[str]:
    """A QR code in half blocks, as lines of a terminal."""
    out = io.StringIO()
    segno.make_qr(text, error="l").terminal(out=out, border=2, compact=True)
    return out.getvalue().splitlines()


class Lan:
    """The app on https for all devices of the local network, until `stop`.

    Parameters
    ----------
    jobs, default_job
        As for `create_app`.
    folder : Path
        Keeps the authority, the certificate and the devices that joined.
    port, landing_port : int
        Of the secure page and of the plain landing page; 0 takes a free one.
    say : callable
        Is given what the person at the terminal has to know, now and later.
    names : callable
        What this machine is called; asked again every 15 s.

    Raises
    ------
    ThirdhandError
        If there is no network address, a port is taken, or the clock can't be right.
    """

    def __init__(
        self,
        jobs: Jobs,
        default_job: str | None,
        folder: Path,
        *,
        port: int = 0,
        landing_port: int = 0,
        say: Callable[[str], None] = print,
        names: Callable[[], Names] = local_names,
    ):
        self._look, self._say, self._job = names, say, default_job
        found = names()
        if not found.addresses:
            raise ThirdhandError(
                "this machine has no address in a local network; join the site's Wi-Fi or plug in "
                "its cable, then start again"
            )
        self.authority = authority(folder, found)
        self.names = self._vouched(found)
        self._leaf = Leaf(folder, self.authority)
        self._leaf.renew(self.names)
        self._hosts = {*self.names.all, *ALWAYS.all}
        self.pairing = Pairing(file=folder / "devices.json", joined=self._joined)
        app = create_app(jobs, default_job, hosts=self._hosts, pairing=self.pairing)
        self._app = listen(app, EVERYWHERE, port, self._leaf.context)
        self.port = self._app.port
        try:
            landing = create_landing(self.authority, self.port)
            self._landing = listen(landing, EVERYWHERE, landing_port)
        except ThirdhandError:
            self._app.stop()
            raise
        self.landing_port = app.config["LANDING_PORT"] = self._landing.port
        self._ended = threading.Event()
        self._watcher = threading.Thread(target=self._watch, name="addresses", daemon=True)
        self._watcher.start()

    def _vouched(self, found: Names) -> Names:
        names = self.authority.vouched(found)
        if found.addresses and not names.addresses:
            raise ThirdhandError(
                f"the certificate authority may not vouch for {', '.join(found.addresses)}: it was "
                "made in another network; remove authority.pem in the data folder to have a new "
                "one made, which every phone has to be told to trust again"
            )
        return names

    # --- what the terminal shows ---------------------------------------------------------------

    @property
    def url(self) -> str:
        """Address of the secure page."""
        return f"https://{self.names.addresses[0]}:{self.port}/"

    @property
    def landing_url(self) -> str:
        """Address of the plain page that makes a phone trust this machine."""
        return f"http://{self.names.addresses[0]}:{self.landing_port}/"

    def join_url(self, role: str = "lead") -> str:
        """Where the one code of a role leads; what follows # stays on the phone."""
        wanted = {"job": self._job} if self._job else {}
        return f"{self.url}#{urlencode({**wanted, 'role': role, 'code': self.pairing.codes[role]})}"

    def invitation(self) -> str:
        """Both codes to scan, with their addresses, and the fingerprint to compare."""
        pair = _drawn(self.landing_url), _drawn(self.join_url())
        height = max(map(len, pair))
        left, right = (rows + [""] * (height - len(rows)) for rows in pair)
        wide = len(left[0])
        rows = [f"{one:{wide}}    {other}".rstrip() for one, other in zip(left, right, strict=True)]
        others = [f"https://{each}:{self.port}/" for each in self.names.all if each not in self.url]
        return "\n".join([
            f"{'1. A phone that is new here:':{wide}}    2. Then join as lead (works once):",
            *rows,
            f"{self.landing_url:{wide}}    {self.url}  code {self._shown('lead')}",
            "The helper's code stands on the lead's page, under More, People.",
            *([f"Also at {' '.join(others)}"] if others else []),
            "Fingerprint of this machine's authority (SHA-256), to compare with the phone's:",
            *(f"    {line}" for line in grouped(self.authority.fingerprint).splitlines()),
        ])  # fmt: skip

    def _shown(self, role: str) -> str:
        code = self.pairing.codes[role]
        return f"{code[:5]}-{code[5:]}"

    def _joined(self, role: str) -> None:
        self._say(f"A phone has joined as {role}.")
        if role == "lead":
            lines = _drawn(self.join_url())
            code = f"{self.url}  code {self._shown('lead')}"
            self._say("\n".join(["The next one to join as lead:", *lines, code]))

    # --- while it runs -------------------------------------------------------------------------

    def _watch(self) -> None:
        lost = False
        while not self._ended.wait(LOOK_EVERY_S):
            found = self.authority.vouched(self._look())
            if not found.addresses:
                if not lost:
                    self._say("The network is gone: no phone reaches this machine now.")
                lost = True
            elif found != self.names or lost:
                lost = False
                self.follow(found)

    def follow(self, found: Names) -> None:
        """Go on under other names: a new certificate, and new codes to scan."""
        self.names = found
        if self._leaf.renew(found):
            self._say("The network's addresses have changed; the certificate was made anew.")
        self._hosts |= {*found.all}
        self._say(self.invitation())

    def wait(self) -> None:
        """Return when the person interrupts the program."""
        self._app.wait()

    def stop(self) -> None:
        """Stop serving."""
        self._ended.set()
        self._watcher.join(timeout=5)
        self._landing.stop()
        self._app.stop()

    def __enter__(self) -> Lan:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()
