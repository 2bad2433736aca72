"""The clients of ``python -m chatter.lab.load``, in a process of their own."""

from __future__ import annotations

import http.client
import json
import re
import sys
import threading
import time
from pathlib import Path

from chatter.lab.load import _PATIENCE_S, of_its_own

_POLL_S = 0.6  # as the page's own script


def main() -> None:
    """Arguments: port, recording, number of clients.  Prints a list of what became of each."""
    port, recording, count = int(sys.argv[1]), Path(sys.argv[2]).read_bytes(), int(sys.argv[3])
    told: list[dict] = []
    gate = threading.Barrier(count)

    def one() -> None:
        made = {"sent_s": 0.0, "answered_s": 0.0, "verdict": ""}
        try:
            client = _Browser(port)
            client.open()
            body = client.form(of_its_own(recording))
            gate.wait()
            begun = time.monotonic()
            where = client.send(body)
            made["sent_s"] = time.monotonic() - begun
            made["verdict"] = client.wait(where, begun + _PATIENCE_S)
            made["answered_s"] = time.monotonic() - begun
        except Exception as wrong:  # the others go on; the report shows the gap
            print(f"a client: {type(wrong).__name__}: {wrong}", file=sys.stderr)
        told.append(made)

    threads = [threading.Thread(target=one) for _ in range(count)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    print(json.dumps(told))


class _Browser:
    """As much of a browser as it takes."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._cookie = self._token = ""

    def open(self) -> None:
        """Get the first page, its cookie and its token."""
        answer, text = self._ask("GET", "/")
        self._cookie = answer.headers["set-cookie"].partition(";")[0]
        self._token = re.search(r'name="csrf" value="(\w+)"', text)[1]

    def form(self, file: bytes) -> bytes:
        """The body of the upload."""
        fields = {"csrf": self._token, "cut.speed": "106", "cutter.teeth": "48"}
        fields["take.simulated"] = "yes"
        head = "".join(
            f'--edge\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
            for name, value in fields.items()
        )
        head += '--edge\r\nContent-Disposition: form-data; name="file"; filename="cut.m4a"\r\n\r\n'
        return head.encode() + file + b"\r\n--edge--\r\n"

    def send(self, body: bytes) -> str:
        """Upload; where the answer will be.  Comes again when the page says it is busy."""
        headers = {
            "Content-Type": "multipart/form-data; boundary=edge",
            "Origin": f"http://127.0.0.1:{self._port}",
        }
        while True:
            answer, text = self._ask("POST", "/recordings", body, headers)
            if answer.status == 303:
                return answer.headers["location"]
            if answer.status != 503:
                raise RuntimeError(f"{answer.status} {text[:200]}")
            time.sleep(float(answer.headers["retry-after"]))

    def wait(self, where: str, until: float) -> str:
        """The verdict, asked for as the page's own script does."""
        while time.monotonic() < until:
            _, text = self._ask("GET", f"{where}/state")
            state = json.loads(text)["state"]
            if state == "done":
                _, text = self._ask("GET", where)
                return re.search(r'<h1 id="answer-h">([^<]*)', text)[1]
            if state == "failed":
                return ""
            time.sleep(_POLL_S)
        return ""

    def _ask(self, method: str, path: str, body=None, headers=None):
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=120)
        connection.request(method, path, body, {"Cookie": self._cookie, **(headers or {})})
        answer = connection.getresponse()
        text = answer.read().decode()
        connection.close()
        return answer, text


if __name__ == "__main__":
    main()
