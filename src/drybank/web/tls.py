"""The server for the local network: TLS in front of the pages, from nothing but cheroot and the standard library.

The handshake is left to the thread that serves the connection. Done where connections are taken in, as the library's own
adapter has it, one guest who connects and says nothing would keep everybody else waiting.
"""

from __future__ import annotations

import logging
import socket
import ssl
from pathlib import Path
from typing import Any

from cheroot import wsgi
from cheroot.ssl.builtin import BuiltinSSLAdapter

log = logging.getLogger("drybank.web")
THREADS = 24
TIMEOUT_S = 10
KEPT_OPEN = 200
"""Connections kept between requests; a handshake costs more than a request."""
LARGEST_BODY = 20_000_000


class LateHandshake(BuiltinSSLAdapter):
    """TLS 1.2 and later; the handshake when the first bytes are read."""

    def __init__(self, certificate: Path, key: Path) -> None:
        super().__init__(str(certificate), str(key))
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2

    def wrap(self, sock: socket.socket) -> tuple[ssl.SSLSocket, dict[str, str]]:
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # head and body are two writes; neither waits
        wrapped = self.context.wrap_socket(sock, do_handshake_on_connect=False, server_side=True)
        return wrapped, {"wsgi.url_scheme": "https", "HTTPS": "on"}


class Quiet(wsgi.Server):
    """Faults go to the log, not to the terminal, and no answer names the server's version."""

    keep_alive_conn_limit = KEPT_OPEN
    max_request_header_size = 32_000
    max_request_body_size = LARGEST_BODY

    def process_conn(self, conn: Any) -> None:
        """A new connection costs no thread until it says something; one that keeps silent is closed after a while."""
        if not getattr(conn, "was_heard", False):
            conn.was_heard = True
            self.put_conn(conn)
            return
        super().process_conn(conn)

    def error_log(self, msg: str = "", level: int = 20, traceback: bool = False) -> None:
        log.info("connection: %s", msg, exc_info=traceback)


def server(taken: socket.socket, application: Any, certificate: Path, key: Path) -> Quiet:
    """A server over TLS on a port already taken."""
    made = Quiet(taken.getsockname()[:2], application, numthreads=THREADS, server_name="drybank", timeout=TIMEOUT_S)
    made.bind = lambda *_: setattr(made, "socket", taken)  # type: ignore[method-assign]
    made.request_queue_size = 128
    made.ssl_adapter = LateHandshake(certificate, key)
    return made
