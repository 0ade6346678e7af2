"""The process of the real server that compiles rules: it does trials, ends with the server, and can be done without."""

import json
import os
import signal

from load.attacks.costs import spent
from load.attacks.others import readings
from load.server import Server, children, exists, served, until

LAYER = {"layer.yaml": "name: Clinic\nrevision: '1'\nchanges: []\n"}
TRIAL = json.dumps({"files": LAYER, "requests": [json.loads(readings(20))] * 100}).encode()


def tried(server: Server) -> tuple[int, dict]:
    connection = server.connection()
    connection.request("POST", "/v1/rules/trial", TRIAL, {"Content-Type": "application/json"})
    response = connection.getresponse()
    status, body = response.status, json.loads(response.read())
    connection.close()
    return status, body


def test_a_trial_costs_the_worker_little_and_is_done_as_well_where_the_process_that_waits_is_gone(tmp_path):
    with served(tmp_path, workers=1) as server:
        ((worker,), compiler) = server.workers(), server.compiler()
        tried(server)
        before = spent(worker), spent(compiler)
        status, answer = tried(server)
        assert (status, answer["totals"]["subjects"], answer["changes"]) == (200, 100, [])
        until(lambda: not children(compiler), server)
        at_worker, apart = spent(worker) - before[0], spent(compiler) - before[1]
        assert at_worker < apart / 2
        os.kill(compiler, signal.SIGKILL)
        until(lambda: not exists(compiler), server)
        assert tried(server) == (200, answer)
        assert "the process that waits to compile rules is gone" in server.log.read_text()


def test_it_ends_with_the_server_however_that_ends(tmp_path):
    for number, end in enumerate((signal.SIGTERM, signal.SIGKILL)):
        folder = tmp_path / str(number)
        folder.mkdir()
        with served(folder) as server:
            processes = [server.compiler(), *server.workers()]
            server.process.send_signal(end)
            server.process.wait(60)
            for _ in range(600):
                if not any(map(exists, processes)):
                    break
                signal.sigtimedwait([], 0.1)
            assert not any(map(exists, processes))
