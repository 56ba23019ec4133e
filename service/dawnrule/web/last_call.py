"""How is a port closed without hanging up on who has just connected?

Closing a port resets the connections that the system has made for it and nobody has taken in yet,
and between looking for them and closing there is always room for one more.
"""

from __future__ import annotations

import ctypes
import socket
import struct
import sys
from contextlib import suppress

_SO_ATTACH_FILTER = 26  # asm-generic/socket.h; Python names it nowhere
_SYN, _SYN_OR_ACK = 0x02, 0x12
_FLAGS_AT = 13  # RFC 9293, section 3.1
_LOAD_BYTE, _AND, _JUMP_IF_EQUAL, _RETURN = 0x30, 0x54, 0x15, 0x06  # linux/bpf_common.h
_NOTHING, _WHOLE = 0, 0xFFFFFFFF
_DROP_FIRST_PACKETS = (
    (_LOAD_BYTE, 0, 0, _FLAGS_AT),
    (_AND, 0, 0, _SYN_OR_ACK),
    (_JUMP_IF_EQUAL, 0, 1, _SYN),
    (_RETURN, 0, 0, _NOTHING),
    (_RETURN, 0, 0, _WHOLE),
)
"""A filter of the Linux kernel (Documentation/networking/filter.rst) that lets everything pass
but the first packet of a new connection."""


def let_nobody_else_in(listener: socket.socket) -> None:
    """Leave who asks ``listener`` for a connection from now on unheard; who has one, or is being
    given one, keeps it and can still be accepted.

    Who is unheard asks again after about a second (RFC 6298, section 2.1) and finds the port
    closed, or who listens there next. Where the system has no such filter, nothing happens.
    """
    if sys.platform != "linux":
        return
    steps = b"".join(struct.pack("HBBI", *step) for step in _DROP_FIRST_PACKETS)
    kept = ctypes.create_string_buffer(steps)  # the kernel copies it before the call returns
    program = struct.pack("HP", len(_DROP_FIRST_PACKETS), ctypes.addressof(kept))
    with suppress(OSError):  # a sandbox may not allow it, and the service must end all the same
        listener.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, program)
