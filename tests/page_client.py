"""A browser without a screen: its cookie, its connection to the page server, its uploads."""

from __future__ import annotations

import http.client
import time
from contextlib import ExitStack
from urllib.parse import urlsplit

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import ClientConnection, connect


class PageClient:
    """One browser at ``url``."""

    def __init__(self, url: str) -> None:
        self.url, self.host = url, urlsplit(url).netloc
        self.cookies: dict[str, str] = {}
        self.get("/")
        self.get("/_stcore/health")
        self.session = ""
        self.connection: ClientConnection | None = None
        self._open = ExitStack()

    def _asked(self, method: str, path: str, body: bytes | None = None,
               headers: dict[str, str] | None = None) -> tuple[int, bytes]:
        there = http.client.HTTPConnection(self.host, timeout=15)
        try:
            there.request(method, path, body, {"Cookie": self._cookie(), **(headers or {})})
            answer = there.getresponse()
            for cookie in answer.headers.get_all("set-cookie") or ():
                name, value = cookie.split(";")[0].split("=", 1)
                self.cookies[name] = value
            return answer.status, answer.read()
        finally:
            there.close()

    def _cookie(self) -> str:
        return "; ".join(f"{k}={v}" for k, v in self.cookies.items())

    def get(self, path: str, **headers: str) -> int:
        """The status of an answer."""
        return self._asked("GET", path, headers=headers)[0]

    def visit(self) -> None:
        """Open a session and wait until the page has been drawn once."""
        self.connection = self._open.enter_context(connect(
            f"ws://{self.host}/_stcore/stream", max_size=None, open_timeout=60,
            origin=self.url,  # type: ignore[arg-type]
            subprotocols=["streamlit", self.cookies["_streamlit_xsrf"]],  # type: ignore[list-item]
            additional_headers={"Cookie": self._cookie()}))
        asked = BackMsg()
        asked.rerun_script.query_string = ""
        self.connection.send(asked.SerializeToString())
        until = time.monotonic() + 60
        while time.monotonic() < until:
            said = ForwardMsg()
            said.ParseFromString(self.connection.recv(timeout=15))  # type: ignore[arg-type]
            if said.HasField("new_session"):
                self.session = said.new_session.initialize.session_id
            if said.HasField("script_finished"):
                return
        raise TimeoutError("the page was not drawn")

    def leave(self) -> None:
        """Close the tab."""
        self._open.close()

    def upload(self, data: bytes, name: str = "file-1", session: str | None = None) -> int:
        """Bring a file; the status of the answer, 0 where the connection was cut."""
        edge = "----edge"
        body = (f'--{edge}\r\nContent-Disposition: form-data; name="f"; filename="a.jpg"\r\n'
                f"Content-Type: image/jpeg\r\n\r\n").encode()
        body += data + f"\r\n--{edge}--\r\n".encode()
        try:
            return self._asked(
                "PUT", f"/_stcore/upload_file/{session or self.session}/{name}", body,
                {"Content-Type": f"multipart/form-data; boundary={edge}",
                 "X-Xsrftoken": self.cookies.get("_streamlit_xsrf", "")})[0]
        except (BrokenPipeError, ConnectionResetError):
            return 0

