"""What the tests of the page share: a page without helper processes, requests as it makes them."""

import json
import time
from contextlib import contextmanager
from importlib.resources import files

from starlette.testclient import TestClient

from tests.page.stand_ins import nothing
from weldsim.page.app import make_app
from weldsim.page.queue import Queue
from weldsim.page.security import Door
from weldsim.page.worker import Worker
from weldsim.page.worker_process import carry_out

PORT = 8716
HERE = f"http://127.0.0.1:{PORT}"
OWN = {"x-weldsim": "page", "content-type": "application/json"}


class StillWorker(Worker):
    """A worker that starts no process: answers come from a table, or from the task done here."""

    def __init__(self, answers=None):
        super().__init__()
        self.answers, self.asked = answers or {}, []

    def open(self):
        pass

    def call(self, task, *args, **more):
        self.asked.append(task.__name__)
        answer = self.answers.get(task.__name__, task)
        if answer is task:
            return carry_out(task, 0, args)
        return answer(*args, **more) if callable(answer) else answer


SIZES = {
    "words": ["My bar", "", "Part: a bar.", "Expect about 5 s and 300 MB.", "", "Cautions:", "  x"],
    "price": {"seconds": 20.0, "memory": 3e8, "unknowns": 5000, "steps": 50, "runs": 1,
              "processes": False, "note": ""},
    "shape": {"points": []},
}  # fmt: skip


def starter(kind="bar") -> dict:
    """Tables of a starter."""
    import tomllib

    return tomllib.loads((files("weldsim") / "data" / "starters" / f"{kind}.toml").read_text())


def queue_of(folder, target=None, previews=None, workers=1, study_target=None) -> Queue:
    target = target or nothing
    return Queue(folder, workers, previews or StillWorker(), target, study_target or target)


def client_of(folder, key=None, hosts=("127.0.0.1", "localhost", "::1"), queue=None, answers=None):
    """A client of a page whose queue does not run, and the page's bench."""
    app = make_app(
        queue or queue_of(folder),
        StillWorker(),
        StillWorker({**SIZES, **(answers or {})}),
        Door(hosts, PORT, key),
    )
    client = TestClient(app, base_url=HERE, follow_redirects=False)
    return client, app.app.state.bench


@contextmanager
def served(folder, answers=None):
    """Address of a page without helper processes, served in this process."""
    import socket
    import threading

    import uvicorn

    with socket.socket() as place:
        place.bind(("127.0.0.1", 0))
        port = place.getsockname()[1]
        door = Door(("127.0.0.1",), port, None)
        app = make_app(
            queue_of(folder), StillWorker(), StillWorker({**SIZES, **(answers or {})}), door
        )
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
        thread = threading.Thread(target=server.run, args=([place],), daemon=True)
        thread.start()
        wait_for(lambda: server.started)
        try:
            yield f"http://127.0.0.1:{port}/"
        finally:
            server.should_exit = True
            thread.join(10)


def post(client, path, body, **headers):
    """A request as the page makes it."""
    return client.post(path, content=json.dumps(body), headers={**OWN, **headers})


def wait_for(ask, seconds=20.0):
    """Ask until the answer is true; gives it back."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := ask():
            return found
        time.sleep(0.02)
    raise AssertionError(f"it did not come true in {seconds} s")


def free_port():
    """A port of this machine that nobody uses."""
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def when_up(url):
    """The address itself, once somebody answers there."""
    import urllib.request

    def up():
        try:
            urllib.request.urlopen(url, timeout=1).close()
        except OSError:
            return False
        return True

    wait_for(up, 60.0)
    return url
