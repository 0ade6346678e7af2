"""A YAML language server, spoken to as an editor does: JSON-RPC over its standard input and output (LSP 3.17).

It is installed once, from the lock beside this file, into the environment that the tests run in.
"""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from fcntl import LOCK_EX, flock
from pathlib import Path
from queue import Queue
from threading import Thread
from typing import Any

HERE = Path(__file__).parent
LOCKED = ("package.json", "package-lock.json")
SECONDS = 60  # to wait for what the server says


def installed() -> Path:
    """Return the server's program, installed where it is not yet; one process of the tests at a time."""
    folder = Path(sys.prefix) / "editor"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        flock(lock, LOCK_EX)
        if any(_differs(folder / name, HERE / name) for name in LOCKED):
            command = ["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel", "error"]
            for name in LOCKED:
                shutil.copy(HERE / name, folder / f"{name}.new")
                (folder / f"{name}.new").rename(folder / name)
            try:
                subprocess.run(command, cwd=folder, check=True, timeout=300)
            except BaseException:
                (folder / LOCKED[1]).unlink()  # the next run tries again
                raise
    return folder / "node_modules" / "yaml-language-server" / "bin" / "yaml-language-server"


def _differs(copy: Path, original: Path) -> bool:
    return not copy.exists() or copy.read_bytes() != original.read_bytes()


class Editor:
    """One open workspace; `settings` are those of the editor."""

    def __init__(self, server: "subprocess.Popen[bytes]", settings: dict[str, Any], workspace: Path) -> None:
        self._server, self._settings = server, settings
        self._messages: Queue[dict[str, Any]] = Queue()
        self._number, self._versions = 0, dict[str, int]()
        Thread(target=self._listen, daemon=True).start()
        self._ask("initialize", {
            "processId": os.getpid(), "rootUri": workspace.as_uri(),
            "workspaceFolders": [{"uri": workspace.as_uri(), "name": workspace.name}],
            "capabilities": {"workspace": {"configuration": True, "didChangeConfiguration": {"dynamicRegistration": True}},
                             "textDocument": {"completion": {"completionItem": {"documentationFormat": ["plaintext"]}},
                                              "hover": {"contentFormat": ["plaintext"]}}},
        })  # fmt: skip
        self._send({"method": "initialized", "params": {}})
        self._send({"method": "workspace/didChangeConfiguration", "params": {"settings": settings}})

    def marks(self, path: Path, text: str) -> list[tuple[int, str]]:
        """Return the line and the message of everything that is marked in a file opened with a text."""
        uri = path.as_uri()
        self._versions[uri] = self._versions.get(uri, 0) + 1
        document = {"uri": uri, "version": self._versions[uri]}
        if document["version"] == 1:
            opened = {"textDocument": {**document, "languageId": "yaml", "text": text}}
            self._send({"method": "textDocument/didOpen", "params": opened})
        else:
            changed = {"textDocument": document, "contentChanges": [{"text": text}]}
            self._send({"method": "textDocument/didChange", "params": changed})
        told = self._until(lambda message: message.get("method") == "textDocument/publishDiagnostics"
                           and message["params"]["uri"] == uri)  # fmt: skip
        return [(mark["range"]["start"]["line"] + 1, mark["message"]) for mark in told["params"]["diagnostics"]]

    def completed(self, path: Path, line: int, column: int) -> list[str]:
        """Return what is offered at a place (line and column from 1) of a file that is open."""
        offered = self._ask("textDocument/completion", self._at(path, line, column))["result"]
        items = offered["items"] if isinstance(offered, dict) else offered or []
        return [item["label"] for item in items]

    def hovered(self, path: Path, line: int, column: int) -> str:
        """Return what is shown over a place of a file that is open."""
        told = self._ask("textDocument/hover", self._at(path, line, column))["result"]
        return json.dumps(told["contents"]) if told else ""

    def _at(self, path: Path, line: int, column: int) -> dict[str, Any]:
        return {"textDocument": {"uri": path.as_uri()}, "position": {"line": line - 1, "character": column - 1}}

    def _ask(self, method: str, params: dict[str, Any]) -> dict[str, Any]:
        self._number += 1
        number = self._number
        self._send({"id": number, "method": method, "params": params})
        return self._until(lambda message: message.get("id") == number and "method" not in message)

    def _until(self, wanted) -> dict[str, Any]:
        """Answer what the server asks, until it says what is waited for."""
        while True:
            message = self._messages.get(timeout=SECONDS)
            if wanted(message):
                return message
            if "method" in message and "id" in message:
                self._send({"id": message["id"], "result": self._answer(message)})

    def _answer(self, message: dict[str, Any]) -> Any:
        if message["method"] == "workspace/configuration":
            return [self._settings.get(item.get("section", "")) for item in message["params"]["items"]]
        return None

    def _send(self, message: dict[str, Any]) -> None:
        body = json.dumps({"jsonrpc": "2.0", **message}).encode()
        self._server.stdin.write(b"Content-Length: %d\r\n\r\n%b" % (len(body), body))
        self._server.stdin.flush()

    def _listen(self) -> None:
        while header := self._server.stdout.readline():
            length = int(header.split(b":")[1]) if header.lower().startswith(b"content-length") else None
            if length is not None:
                while self._server.stdout.readline().strip():
                    pass
                self._messages.put(json.loads(self._server.stdout.read(length)))


@contextmanager
def editing(workspace: Path, schemas: dict[str, Any]) -> Iterator[Editor]:
    """Open a workspace in an editor whose settings say which schema is whose; nothing is looked up elsewhere."""
    yaml = {"schemas": schemas, "validate": True, "hover": True, "completion": True, "schemaStore": {"enable": False}}
    settings = {"yaml": yaml, "http": {}, "[yaml]": {}, "editor": {}, "files": {}}
    command = ["node", str(installed()), "--stdio"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as server:
        try:
            yield Editor(server, settings, workspace)
        finally:
            server.kill()
