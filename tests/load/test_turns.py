"""Large requests that come at once are answered one after the other, and a small one between them."""

from contextlib import ExitStack, closing
from time import perf_counter

from load.attacks.others import readings
from load.server import served
from load.test_hostile_clients import BODY, POST, connected

LARGE = readings(3_000)
SENT = POST + b"application/json\r\nContent-Length: %d\r\n\r\n" % len(LARGE) + LARGE
CLIENTS = 8


def test_a_small_request_waits_for_few_of_many_large_ones(tmp_path):
    with served(tmp_path, workers=1) as server, ExitStack() as open_ones:
        clients = [open_ones.enter_context(closing(connected(server))) for _ in range(CLIENTS)]
        for client in clients:
            client.sendall(SENT[:-1])
        assert server.get("/health")[0] == 200  # by now the worker has them
        for client in clients:
            client.sendall(SENT[-1:])
        begun = perf_counter()
        connection = open_ones.enter_context(closing(server.connection()))
        connection.request("POST", "/v1/assessments", BODY, {"Content-Type": "application/json"})
        assert connection.getresponse().status == 200
        waited = perf_counter() - begun
        assert all(client.recv(12) == b"HTTP/1.1 200" for client in clients)
        assert waited < (perf_counter() - begun) / 2
