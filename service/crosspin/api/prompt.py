"""HTTP connections as uvicorn speaks them, with nothing held back."""

from asyncio import Transport
from socket import IPPROTO_TCP, TCP_NODELAY

from uvicorn.protocols.http.auto import AutoHTTPProtocol


class PromptConnection(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
    """A connection on which the end of a reply does not wait until its beginning was acknowledged.

    asyncio sees to that only for sockets that it has made itself; several processes share one that uvicorn makes.
    """

    def connection_made(self, transport: Transport) -> None:
        """Begin."""
        super().connection_made(transport)
        transport.get_extra_info("socket").setsockopt(IPPROTO_TCP, TCP_NODELAY, 1)
