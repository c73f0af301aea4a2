"""The page of a class on the network of the room, when asked; stops by itself with its program."""

import html
import socket
import threading
from collections.abc import Callable
from functools import cached_property
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self
from urllib.parse import urlsplit

from motorlearn.exceptions import FileError
from motorlearn.files import ensured_folder, locked, write_bytes
from motorlearn.teaching.aiming.pushes import ClassFrame, parse_pushes
from motorlearn.teaching.classroom.page import RESULTS, classroom_page, read_classroom
from motorlearn.teaching.pages import page_of

try:
    import segno
except ImportError:  # the extra is not installed: the address stands without its code
    segno = None  # type: ignore[assignment]

PORT: Final = 8765
_LARGEST: Final = 65_536
"""Bytes of the largest result; a whole sitting has about 10,000."""
_STATES: Final = 12
"""Results that one seat may send: it may send earlier states too."""
_WAITING: Final = 64
_NAMED: Final = len("class-experiment-S001")
_SECONDS: Final = 15
_NOWHERE: Final = ("192.0.2.1", 9)
"""An address kept for documentation (RFC 5737): asked for the way to it, nothing is sent."""
_SCREEN_STYLE: Final = """
main { padding: 24px; text-align: center; }
main svg { width: min(60vh, 90vw); height: min(60vh, 90vw); }
.address { font-size: min(48px, 6vw); font-weight: 700; overflow-wrap: anywhere; }
"""


def room_address() -> str:
    """Give the address of this computer in the network of the room, or its own if there is none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_NOWHERE)
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


class ClassServer(ThreadingHTTPServer):
    """A server of one page, and of results where they are wanted.

    It gives the page at ``/`` and the address with a QR code to project at ``/screen``, and takes
    results at ``/result``: at most 64 kB each, twelve a seat, pushes of this class only. It writes
    no log and keeps no address of a sender.

    Parameters
    ----------
    folder : path-like
        Folder of the class, as :func:`motorlearn.teaching.write_classroom` made it.
    address : str, optional
        Address to bind; by default that of this computer in the room's network.
    port : int
        Port; 0 for any that is free.
    uploads : bool
        Whether results are taken.

    Raises
    ------
    FileError
        If the folder holds no class, or address and port cannot be had.

    Examples
    --------
    >>> import tempfile
    >>> from motorlearn.teaching import write_classroom
    >>> room = write_classroom(tempfile.mkdtemp() + "/monday", seats=4, class_seed=7).parent
    >>> with ClassServer(room, address="127.0.0.1", port=0) as server:
    ...     server.address.startswith("http://127.0.0.1:")
    True
    """

    daemon_threads = True
    request_queue_size = _WAITING

    def __init__(
        self,
        folder: str | Path,
        *,
        address: str | None = None,
        port: int = PORT,
        uploads: bool = True,
    ) -> None:
        self.room, self.uploads = read_classroom(folder), uploads
        self.results = ensured_folder(Path(folder) / RESULTS)
        self.frame = ClassFrame(self.room.class_seed, self.room.seats, self.room.retention_days)
        self.page = classroom_page(self.room, sends=uploads).encode()
        self.places = threading.BoundedSemaphore(_WAITING)
        place = (address or room_address(), port)
        try:
            super().__init__(place, _Answers)
        except (OSError, OverflowError) as problem:
            shown = [f"{place[0]}:{port} ({problem})"]
            remedy = "name another --port, or another --address of this computer"
            raise FileError("this address cannot be had", shown, remedy) from None

    @property
    def host(self) -> str:
        """Address and port, as a browser writes them."""
        name, port = str(self.server_address[0]), int(self.server_address[1])
        return name if port == 80 else f"{name}:{port}"

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://{self.host}/"

    def process_request(self, request: Any, client_address: Any) -> None:
        """Answer in a thread of its own, or hang up where too many wait already."""
        if not self.places.acquire(blocking=False):
            self.shutdown_request(request)
            return
        super().process_request(request, client_address)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Answer, then free the place."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self.places.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Forget a connection that broke: no log, no address."""

    def received(self) -> int:
        """Count the seats of which a result lies in the folder."""
        return len({file.name[:_NAMED] for file in self.results.glob("class-experiment-S*.csv")})

    def take(self, content: bytes) -> tuple[int, str]:
        """Keep one result under the name of its seat; give the status and what to say."""
        table, faults = parse_pushes(content, self.frame)
        if table is None:
            return 400, f"Not received: {faults[0][4]}. Save your file or give the code instead."
        seat = str(table["participant"].iloc[0])
        said = f"Received: seat {int(seat[1:])}, {len(table)} pushes. Thank you."
        with locked(self.results):
            files = sorted(self.results.glob(f"class-experiment-{seat}*.csv"))
            if any(file.read_bytes() == content for file in files):
                return 200, said
            if len(files) >= _STATES:
                return 429, "Not received: this seat has sent too often. Tell the lecturer."
            ending = f"-{len(files) + 1}" if files else ""
            write_bytes(self.results / f"class-experiment-{seat}{ending}.csv", content)
        return 200, said

    @cached_property
    def picture(self) -> str:
        """The address as a QR code (SVG), or nothing where segno is not installed."""
        return qr_picture(self.address)

    def screen(self) -> str:
        """Write the page to project: the address, its QR code, how many results came."""
        count = f"{self.received()} of {self.room.seats} seats have sent." if self.uploads else ""
        absent = "" if self.picture else '<p class="note">For a QR code: pip install segno</p>'
        body = (
            f'<main><h1>Class experiment</h1><p class="address">{html.escape(self.address)}</p>'
            f"{self.picture}{absent}<p>Same network as this computer. {count}</p></main>"
        )
        return page_of("Class experiment: address", body, styles=[_SCREEN_STYLE])

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.server_close()


class _Answers(BaseHTTPRequestHandler):
    """What the server says to one request."""

    server: ClassServer
    timeout = _SECONDS
    server_version, sys_version = "class", ""

    def do_GET(self) -> None:
        """Give the page, or the page to project."""
        pages: dict[str, Callable[[], bytes]] = {
            "/": lambda: self.server.page,
            "/screen": lambda: self.server.screen().encode(),
        }
        page = pages.get(urlsplit(self.path).path)
        if page is None or not self._ours():
            self._say(404, "There is nothing here.")
            return
        more = {"Refresh": "15"} if self.path == "/screen" else {}
        self._answer(200, page(), "text/html; charset=utf-8", more)

    def do_POST(self) -> None:
        """Take a result."""
        length = self.headers.get("Content-Length", "")
        origin = self.headers.get("Origin")
        own = origin in (None, self.server.address.rstrip("/"))
        if self.path != "/result" or not self.server.uploads or not self._ours() or not own:
            self._say(404, "Results are not taken here.")
        elif not (length.isascii() and length.isdigit()) or not 0 < int(length) <= _LARGEST:
            self._say(413, "Not received: this is too large to be one sitting.")
        else:
            content = self.rfile.read(int(length))
            self._say(*self.server.take(content))

    def _ours(self) -> bool:
        """Whether the request names this server and no other that leads here."""
        return self.headers.get("Host") == self.server.host

    def _say(self, status: int, words: str) -> None:
        self._answer(status, words.encode(), "text/plain; charset=utf-8", {})

    def _answer(self, status: int, content: bytes, kind: str, more: dict[str, str]) -> None:
        self.send_response(status)
        headers = {
            "Content-Type": kind,
            "Content-Length": str(len(content)),
            "Cache-Control": "no-store",
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "no-referrer",
            "Connection": "close",
        }
        for name, value in (headers | more).items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, format: str, *args: Any) -> None:
        """Write no log: it would hold the addresses of those who take part."""


def qr_picture(text: str) -> str:
    """Draw a QR code as SVG with segno; empty where that is not installed."""
    if segno is None:
        return ""
    made = segno.make(text, error="m", micro=False)
    drawn: str = made.svg_inline(scale=8, border=4, omitsize=True, title="QR code of the address")
    return drawn
