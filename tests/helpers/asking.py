"""A server on this machine that writes down what it is asked for."""

from __future__ import annotations

import http.server
import threading
from collections.abc import Iterator


def listening(answer: bytes = b"") -> Iterator[tuple[str, list[str]]]:
    """Yield the server's address and the paths it was asked for; it ends after that.

    Args:
        answer: what it sends to whoever asks.
    """
    paths: list[str] = []

    class Listening(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            paths.append(self.path)
            self.send_response(200)
            self.end_headers()
            self.wfile.write(answer)

        def do_POST(self) -> None:
            self.do_GET()

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Listening)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", paths
    server.shutdown()
    thread.join()
    server.server_close()
