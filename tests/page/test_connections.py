"""Half-open connections, slow senders and crowds: nobody can hold the page's files for long."""

import asyncio
import socket
import threading
import time
from contextlib import contextmanager

import pytest
import uvicorn

from weldsim.page.connections import Doorman, limited_protocol, most_connections
from weldsim.page.security import Door, Guard

REQUEST = b"GET / HTTP/1.1\r\nhost: 127.0.0.1:{}\r\n"


async def answer(scope, receive, send):
    """Reads the whole body, then says ok."""
    while (await receive()).get("more_body"):
        pass
    await send(
        {"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]}
    )
    await send({"type": "http.response.body", "body": b"ok"})


def guarded(port, key=None):
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import PlainTextResponse
    from starlette.routing import Route

    async def read(request: Request):
        return PlainTextResponse(f"{len(await request.body())}")

    guard = Guard(Starlette(routes=[Route("/", read, methods=["GET", "POST"])]),
                  Door(("127.0.0.1",), port, key))  # fmt: skip
    guard.stall_limit, guard.body_limit = 0.3, 0.8
    return guard


@contextmanager
def served(protocol, make=None):
    """A server in a thread; gives its port."""
    place = socket.socket()
    place.bind(("127.0.0.1", 0))
    port = place.getsockname()[1]
    app = make(port) if make else answer
    config = uvicorn.Config(app, log_level="error", lifespan="off", http=protocol)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=lambda: asyncio.run(server.serve(sockets=[place])))
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.01)
    try:
        yield port
    finally:
        server.should_exit = True
        thread.join()
        place.close()


def connected(port):
    return socket.create_connection(("127.0.0.1", port), timeout=10)


def asked(port, connection=None):
    """What a whole request is answered; b"" where the connection is closed."""
    connection = connection or connected(port)
    try:
        connection.sendall(
            REQUEST.replace(b"{}", str(port).encode()) + b"connection: close\r\n\r\n"
        )
        return b"".join(iter(lambda: connection.recv(4096), b""))
    except ConnectionError:
        return b""
    finally:
        connection.close()


def ended_after(connection):
    """Seconds until the other side ends a connection."""
    began = time.monotonic()
    try:
        while connection.recv(4096):
            pass
    except ConnectionError:
        pass
    return time.monotonic() - began


@pytest.mark.parametrize("said", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nhost: x\r\n"])
def test_a_connection_that_says_nothing_whole_is_closed(said):
    """The socket's own limit is 10 s: an end within it is the server's."""
    with served(limited_protocol(head_limit=0.4)) as port:
        connection = connected(port)
        connection.sendall(said)
        assert 0.1 < ended_after(connection) < 5.0
        assert b"200" in asked(port)


def test_a_head_letter_by_letter_is_closed_too():
    with served(limited_protocol(head_limit=0.5)) as port:
        connection, began = connected(port), time.monotonic()
        with pytest.raises(OSError):
            while time.monotonic() - began < 8.0:
                connection.sendall(b"G")
                time.sleep(0.05)
        assert time.monotonic() - began < 5.0


def test_a_client_holds_so_many_connections_and_no_more():
    with served(limited_protocol(Doorman(3, 100), 30.0)) as port:
        held = [connected(port) for _ in range(3)]
        time.sleep(0.2)
        assert asked(port) == b""
        held.pop().close()
        time.sleep(0.2)
        assert b"200" in asked(port)
        for connection in held:
            connection.close()


def test_all_together_leave_files_for_the_rest():
    doorman = Doorman(3, 4)
    assert [doorman.enter(c) for c in "aaaabb"] == [True, True, True, False, True, False]
    doorman.leave("a")
    assert doorman.enter("c") and not doorman.enter("b")
    assert 0 < most_connections() <= 400


LONG = 30_000_000  # bytes: more than the system keeps between two ends


async def long_answer(scope, receive, send):
    head = [(b"content-length", str(LONG).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": head})
    for left in range(LONG, 0, -1_000_000):
        await send({"type": "http.response.body", "body": bytes(1_000_000),
                    "more_body": left > 1_000_000})  # fmt: skip


def read_slowly(port, pause, pieces):
    """Bytes of the long answer that a client gets who waits before each of so many pieces."""
    connection, got = connected(port), 0
    connection.sendall(REQUEST.replace(b"{}", str(port).encode()) + b"connection: close\r\n\r\n")
    try:
        for _ in range(pieces):
            time.sleep(pause)
            wanted = got + LONG // pieces
            while got < wanted and (some := connection.recv(1 << 20)):
                got += len(some)
        while some := connection.recv(1 << 20):
            got += len(some)
    except ConnectionError:
        pass
    finally:
        connection.close()
    return got


def test_an_answer_that_nobody_takes_is_dropped():
    with served(limited_protocol(take_limit=0.2), lambda port: long_answer) as port:
        assert read_slowly(port, 1.0, 1) < LONG


def test_a_client_that_takes_its_answer_slowly_gets_it_all():
    """Ten pauses, each shorter than the limit, all together longer."""
    with served(limited_protocol(take_limit=0.5), lambda port: long_answer) as port:
        assert read_slowly(port, 0.1, 10) > LONG


POST = (b"POST / HTTP/1.1\r\nhost: 127.0.0.1:{}\r\ncontent-type: application/json\r\n"
        b"x-weldsim: page\r\ncontent-length: 100\r\n\r\n[")  # fmt: skip


def test_a_body_that_does_not_come_is_answered_and_closed():
    with served(limited_protocol(), guarded) as port:
        connection = connected(port)
        connection.sendall(POST.replace(b"{}", str(port).encode()))
        said = b"".join(iter(lambda: connection.recv(4096), b""))
        assert said.startswith(b"HTTP/1.1 408") and b"did not come in whole" in said


def test_without_the_key_nothing_is_read_and_the_connection_ends():
    """Whatever else is wrong with it: a foreign host without the key learns of the key alone."""
    with served(limited_protocol(), lambda port: guarded(port, "k" * 32)) as port:
        connection = connected(port)
        connection.sendall(POST.replace(b"127.0.0.1:{}", b"elsewhere"))
        said = b"".join(iter(lambda: connection.recv(4096), b""))
        assert said.startswith(b"HTTP/1.1 403") and b"connection: close" in said.lower()
