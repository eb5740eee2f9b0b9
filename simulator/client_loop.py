"""One thread that serves the sockets of many MQTT clients.

paho's own loop takes a thread a client and waits with `select`, which cannot watch a descriptor above 1023:
past about 340 clients it fails. A selector has no such limit.
"""

import contextlib
import selectors
import socket
import threading
import time
from collections.abc import Callable
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING

from paho.mqtt.client import Client

if TYPE_CHECKING:
    from paho.mqtt.client import SocketLike

READ_AND_WRITE = selectors.EVENT_READ | selectors.EVENT_WRITE
TICK_S = 0.5  # how often keep-alive is seen to, and a lost connection taken up again
_ERRORS = (OSError, ValueError)  # what connecting again raises while the broker is away


class ClientLoop:
    """Reads, writes, keeps alive and reconnects every client attached to it, in a thread of its own."""

    def __init__(self) -> None:
        self._selector = selectors.DefaultSelector()
        self._asked: SimpleQueue[Callable[[], None]] = SimpleQueue()
        self._awake, self._waker = socket.socketpair()
        for end in (self._awake, self._waker):
            end.settimeout(0.0)
        self._selector.register(self._awake, selectors.EVENT_READ)
        self._clients: list[Client] = []
        self._running = True
        self._thread = threading.Thread(target=self._run, name="gateways", daemon=True)
        self._thread.start()

    def attach(self, client: Client) -> None:
        """Serve a client from now on; attach it before it connects."""
        client.on_socket_open = lambda client, _data, sock: self._ask(lambda: self._open(client, sock))
        client.on_socket_close = lambda _client, _data, sock: self._ask(lambda: self._forget(sock))
        client.on_socket_register_write = lambda _client, _data, sock: self._ask(
            lambda: self._watch(sock, READ_AND_WRITE)
        )
        client.on_socket_unregister_write = lambda _client, _data, sock: self._ask(
            lambda: self._watch(sock, selectors.EVENT_READ)
        )

    def keep(self, client: Client) -> None:
        """Keep an attached client alive, and connected, until the loop closes."""
        self._ask(lambda: self._clients.append(client))

    def close(self) -> None:
        """Sign every client off, send what is written, and end the thread."""
        self._ask(self._stop)
        self._thread.join()
        self._selector.close()
        self._awake.close()
        self._waker.close()

    def _ask(self, action: Callable[[], None]) -> None:
        """Have the thread do something, as only it touches the selector; nothing after its end."""
        if not self._running:
            return
        self._asked.put(action)
        with contextlib.suppress(BlockingIOError):  # the thread has enough to wake it
            self._waker.send(b"!")

    def _run(self) -> None:
        due = time.monotonic() + TICK_S
        while self._running:
            for key, ready in self._selector.select(max(due - time.monotonic(), 0.0)):
                self._serve(key.data, ready)
            self._do_asked()
            if time.monotonic() >= due:
                self._tick()
                due = time.monotonic() + TICK_S

    def _serve(self, client: Client | None, ready: int) -> None:
        if client is None:
            self._awake.recv(4096)
            return
        if ready & selectors.EVENT_READ:
            client.loop_read()
        if ready & selectors.EVENT_WRITE:
            client.loop_write()

    def _do_asked(self) -> None:
        with contextlib.suppress(Empty):
            while True:
                self._asked.get_nowait()()

    def _open(self, client: Client, sock: "SocketLike") -> None:
        if sock.fileno() >= 0:  # not lost again already
            self._selector.register(sock, READ_AND_WRITE, client)

    def _forget(self, sock: "SocketLike") -> None:
        with contextlib.suppress(KeyError, ValueError, OSError):  # lost before it was watched
            self._selector.unregister(sock)

    def _watch(self, sock: "SocketLike", events: int) -> None:
        with contextlib.suppress(KeyError, ValueError, OSError):  # closed since
            self._selector.modify(sock, events, self._selector.get_key(sock).data)

    def _tick(self) -> None:
        for client in self._clients:
            client.loop_misc()
            if client.socket() is None:
                with contextlib.suppress(*_ERRORS):  # the next tick tries again
                    client.reconnect()
            elif client.want_write():  # queued in the moment in which the last write ended
                client.loop_write()

    def _stop(self) -> None:
        for client in self._clients:
            client.disconnect()
            client.loop_write()
        self._running = False
