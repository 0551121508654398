"""Serves pages from a thread beside the sweep."""

from __future__ import annotations

import socket
import threading
from collections.abc import Sequence

import uvicorn
from starlette.types import ASGIApp


class PageServer:
    """Serves an app from a thread of its own, so that it answers even when the sweep hangs."""

    def __init__(
        self, app: ASGIApp, port: int, host: str = "127.0.0.1", proxies: Sequence[str] = ("127.0.0.1",)
    ) -> None:
        """``proxies``: whose ``X-Forwarded-For`` tells where a request comes from."""
        config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            lifespan="off",
            ws="none",
            timeout_graceful_shutdown=5,
            forwarded_allow_ips=list(proxies),
        )
        self._server = uvicorn.Server(config)
        self._socket = socket.create_server((host, port))
        self.port: int = self._socket.getsockname()[1]
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self._socket]}, name="pages", daemon=True
        )

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Finish the answers begun and end; returns when the port is free."""
        self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(10)
        self._socket.close()
