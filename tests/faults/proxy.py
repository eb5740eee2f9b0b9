"""A relay between a client and a server that a test can cut, hang and mend."""

from __future__ import annotations

import contextlib
import socket
import threading
from typing import Self

_CHUNK = 65536


class Proxy:
    """Listens on a port of its own and passes every byte on to `target`, while it is whole.

    Parameters
    ----------
    target : int or str
        A TCP port of this computer, or the path of a Unix socket.
    """

    def __init__(self, target: int | str) -> None:
        self._target = target
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._whole = threading.Event()
        self._whole.set()
        self._flowing = threading.Event()
        self._flowing.set()
        threading.Thread(target=self._accept, daemon=True).start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._flowing.set()
        self.cut()
        self._server.close()

    def cut(self) -> None:
        """End every connection, and let no new one through."""
        self._whole.clear()
        with self._lock:
            ending, self._open = self._open, set()
        for each in ending:
            _end(each)

    def mend(self) -> None:
        """Let connections through again."""
        self._whole.set()

    def hang(self) -> None:
        """Pass nothing on, and let nobody know: a cable that was pulled out."""
        self._flowing.clear()

    def flow(self) -> None:
        """Pass on what waits, and all that comes."""
        self._flowing.set()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:  # closed
                return
            if not self._whole.is_set():
                _end(client)
                continue
            self._connect(client)

    def _connect(self, client: socket.socket) -> None:
        try:
            server = self._dial()
        except OSError:  # the server is away, as it would look without us
            _end(client)
            return
        with self._lock:
            self._open |= {client, server}
        for source, sink in ((client, server), (server, client)):
            threading.Thread(target=self._pass_on, args=(source, sink), daemon=True).start()

    def _dial(self) -> socket.socket:
        if isinstance(self._target, int):
            return socket.create_connection(("127.0.0.1", self._target), 5)
        found = socket.socket(socket.AF_UNIX)
        try:
            found.connect(self._target)
        except OSError:
            found.close()
            raise
        return found

    def _pass_on(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            source.settimeout(None)
            while data := source.recv(_CHUNK):
                self._flowing.wait()
                sink.sendall(data)
        _end(source)
        _end(sink)


def _end(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
