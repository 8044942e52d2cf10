"""Under which address a phone reaches the pages, and that address as a code to be scanned."""

from __future__ import annotations

import socket
from base64 import b64encode
from io import BytesIO

import segno

from vision.errors import InputError

#: For documentation only (RFC 5737): nothing is sent, the system only chooses a way there.
_ELSEWHERE = ("192.0.2.1", 9)
#: Light modules round the code: ISO/IEC 18004 asks for four (from memory).
_BORDER = 4


def own_network_address() -> str:
    """This machine's address in the network that it is in.  InputError where it is in none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ELSEWHERE)
            found = str(probe.getsockname()[0])
        except OSError:
            found = "0.0.0.0"
    if found == "0.0.0.0" or found.startswith("127."):
        raise InputError("This machine is in no network; connect it to the one that the phones are "
                         "in, or name its address with --host.")
    return found


def code_as_text(address: str) -> str:
    """The code in half blocks, two rows a line: light on dark, as most terminals are."""
    rows = [list(row) for row in segno.make(address, micro=False).matrix_iter(border=_BORDER)]
    rows += [[0] * len(rows[0])] * (len(rows) % 2)
    signs = {(0, 0): "\N{FULL BLOCK}", (0, 1): "\N{UPPER HALF BLOCK}",
             (1, 0): "\N{LOWER HALF BLOCK}", (1, 1): " "}
    return "\n".join("".join(signs[int(a), int(b)] for a, b in zip(upper, lower, strict=True))
                     for upper, lower in zip(rows[::2], rows[1::2], strict=True))


def code_as_picture(address: str) -> str:
    """The code as a picture on white, as the address of an image element."""
    out = BytesIO()
    segno.make(address, micro=False).save(out, kind="svg", border=_BORDER, light="#fff")
    return f"data:image/svg+xml;base64,{b64encode(out.getvalue()).decode('ascii')}"
