"""Opening the board: its sockets, its server, and for other devices the machine's own address."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fewtone.board.bench import Bench
from fewtone.errors import Fault, FewtoneError, UsageError

if TYPE_CHECKING:
    import uvicorn

    from fewtone.board.safety import Doors

__all__ = ["USUAL_PORT", "Board", "own_address", "require_extra"]

USUAL_PORT = 8770
LOOPBACK = "127.0.0.1"
_BACKLOG = 256
# Enough for a shop full of tablets; beyond it a request is told to come again.
_MOST_AT_ONCE = 400


def require_extra() -> None:
    """Say what to install where the board cannot run.

    Raises
    ------
    FewtoneError
        A package of the extra ``fewtone[board]`` is missing.
    """
    try:
        import segno  # noqa: F401
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError as error:
        raise FewtoneError(
            Fault(
                f"The board needs packages that are not installed ({error}).",
                fix="Run: pip install 'fewtone[board]'.",
            )
        ) from error


def own_address() -> str:
    """The address that this machine has in the network around it; nothing is sent to find it.

    Raises
    ------
    FewtoneError
        It is in no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Of TEST-NET-1 (RFC 5737): connecting a datagram socket only chooses a way.
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError as error:
            raise FewtoneError(
                Fault(
                    "This machine is in no network, so no other device can reach the board.",
                    fix="Join one, or name its address with `address`.",
                )
            ) from error


@dataclass(slots=True)
class Board:
    """A board that is about to open.

    Parameters
    ----------
    bench
        What it works on.
    port
        Its port; the usual one, or if that is taken any, if None. 0 is any.
    lan
        The address in the network at which other devices may come in; None for this machine alone.
    """

    bench: Bench
    port: int | None = None
    lan: str | None = None
    _sockets: list[socket.socket] = field(default_factory=list)

    def listen(self) -> None:
        """Take the port.

        Raises
        ------
        FewtoneError
            It cannot be had.
        """
        addresses = [LOOPBACK] if self.lan in (None, LOOPBACK) else [LOOPBACK, self.lan]
        wanted = USUAL_PORT if self.port is None else self.port
        tries = [wanted, 0] if self.port is None else [wanted]
        for last, number in enumerate(tries, start=1 - len(tries)):
            try:
                self._sockets = _listening(addresses, number)
                break
            except OSError as error:
                if last == 0:
                    raise UsageError(
                        Fault(
                            f"The board cannot listen at {' and '.join(addresses)}, port {wanted}: "
                            f"{error.strerror or error}.",
                            fix="Name another `port`, or 0 for any that is free.",
                            value=str(wanted),
                        )
                    ) from error
        self.port = self._sockets[0].getsockname()[1]

    def run(self, opened: Callable[[Doors], None]) -> None:
        """Serve until it is interrupted.

        Parameters
        ----------
        opened
            Is told how to come in, once the port is taken.
        """
        import asyncio

        server, doors = self.server()
        opened(doors)
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(server.serve(sockets=self._sockets))

    def server(self) -> tuple[uvicorn.Server, Doors]:
        """The server and its doors; `listen` comes first."""
        import uvicorn

        from fewtone.board.app import create_app
        from fewtone.board.safety import Doors

        assert self.port is not None
        doors = Doors.of(self.port, self.lan)
        if self.lan is not None:
            doors.new_code()
        config = uvicorn.Config(
            create_app(self.bench, doors),
            log_config=None,
            access_log=False,
            lifespan="off",
            ws="none",
            loop="asyncio",
            http="h11",
            server_header=False,
            proxy_headers=False,
            limit_concurrency=_MOST_AT_ONCE,
            timeout_keep_alive=15,
            timeout_graceful_shutdown=3,
        )
        return uvicorn.Server(config), doors

    @property
    def sockets(self) -> list[socket.socket]:
        """What it listens with."""
        return list(self._sockets)


def _listening(addresses: Sequence[str], port: int) -> list[socket.socket]:
    """Sockets at these addresses, all of one port.

    Raises
    ------
    OSError
        One cannot be had; none is left open then.
    """
    opened: list[socket.socket] = []
    try:
        for address in addresses:
            one = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
            opened.append(one)
            one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            one.bind((address, port))
            port = one.getsockname()[1]
            one.listen(_BACKLOG)
            one.setblocking(False)
    except BaseException:
        for one in opened:
            one.close()
        raise
    return opened
