"""The server of the local page: addresses, who is let in, start and end."""

from __future__ import annotations

import signal
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import Route

from weldsim.errors import WeldsimError
from weldsim.page import (
    fit_jobs,
    routes_case,
    routes_jobs,
    routes_measured,
    routes_runs,
    routes_static,
    routes_studies,
)
from weldsim.page.bench import Bench, api
from weldsim.page.connections import limited_protocol
from weldsim.page.preview import warm_up
from weldsim.page.queue import Queue
from weldsim.page.security import LOCAL, UPLOADS, Door, Guard, new_key
from weldsim.page.tasks import warm_check, warm_words
from weldsim.page.worker import Worker
from weldsim.system.signals import end_on_hangup

PORT = 8716
EVERYWHERE = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}  # to listen on, and one that leads there

ROUTES = (
    ("/", routes_static.index, "GET"),
    ("/static/{name}", routes_static.static, "GET"),
    ("/view/{name}", routes_static.view_file, "GET"),
    ("/api/begin", routes_case.begin, "GET"),
    ("/api/form/{kind}", routes_case.form, "GET"),
    ("/api/material/{what}", routes_case.material, "GET"),
    ("/api/shelf", routes_case.shelf, "GET"),
    ("/api/check", routes_case.check, "POST"),
    ("/api/words", routes_case.words, "POST"),
    ("/api/shape", routes_case.shape, "POST"),
    ("/api/case", routes_case.case_text, "POST"),
    ("/api/open", routes_case.open_text, "POST"),
    ("/api/open/{id}", routes_case.open_file, "GET"),
    ("/api/cost", routes_jobs.cost, "POST"),
    ("/api/jobs", routes_jobs.jobs, "GET"),
    ("/api/jobs", routes_jobs.ask_job, "POST"),
    ("/api/jobs/{id}", routes_jobs.one_job, "GET"),
    ("/api/jobs/{id}/{what}", routes_jobs.act, "POST"),
    ("/api/runs/{id}", routes_runs.run, "GET"),
    ("/api/runs/{id}/case", routes_runs.run_case, "GET"),
    ("/api/runs/{id}/scene", routes_runs.scene, "GET"),
    ("/api/runs/{id}/file/{what}", routes_runs.fetch, "GET"),
    ("/api/measured", routes_measured.listed, "GET"),
    ("/api/target/{paper}", routes_measured.target, "GET"),
    ("/api/measured/cost", fit_jobs.fit_cost, "POST"),
    ("/api/measured/of/{id}", routes_measured.offered, "GET"),
    ("/api/measured/{id}", routes_measured.one, "GET"),
    ("/api/measured/{id}/curves", routes_measured.curves, "POST"),
    ("/api/measured/{id}/read", routes_measured.read_film, "POST"),
    ("/api/measured/{id}/{what}", routes_measured.act, "POST"),
    ("/api/shops", routes_measured.shops_kept, "GET"),
    ("/api/shops", routes_measured.keep_shop, "POST"),
    ("/api/plan", routes_studies.plan, "POST"),
    ("/api/scatter", routes_studies.scatter, "POST"),
    ("/api/studies", routes_studies.ask_study, "POST"),
    ("/api/studies/{id}", routes_studies.study, "GET"),
    ("/api/studies/{id}/words", routes_studies.plan_words, "GET"),
    ("/api/studies/{id}/case/{row}", routes_studies.study_case, "GET"),
    ("/api/studies/{id}/file/{what}", routes_studies.fetch, "GET"),
)


def make_app(queue: Queue, reader: Worker, worker: Worker, door: Door) -> Guard:
    """The page as an ASGI application; the queue is started and closed with it.

    Parameters
    ----------
    queue : Queue
        What is to be computed.
    reader : Worker
        Reads and checks cases.
    worker : Worker
        For words and shapes.
    door : Door
        Who is let in.

    Returns
    -------
    Guard
        The application behind its door.
    """

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        reader.open()
        worker.open()
        await run_in_threadpool(queue.start)
        yield
        reader.close()
        worker.close()
        app.state.bench.films.close()
        await run_in_threadpool(queue.close)

    routes = [Route(path, routes_measured.upload, methods=["POST"]) for path in UPLOADS]
    routes += [Route(path, api(work), methods=[method]) for path, work, method in ROUTES]
    app = Starlette(routes=routes, lifespan=lifespan)
    app.state.bench = Bench(queue, reader, worker, door.key is not None)
    app.add_middleware(GZipMiddleware, minimum_size=2000, compresslevel=3)
    return Guard(app, door)


def serve(
    host: str = "127.0.0.1",
    port: int = PORT,
    lan: bool = False,
    work: str | Path = Path("runs"),
    open_browser: bool = True,
    workers: int = 1,
) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    host : str
        Address to listen on; with `lan` it is all of them unless another is given.
    port : int
        0 takes a free one.
    lan : bool
        Let other machines in, those that bring the key of the printed address.
    work : path
        Where runs and the queue lie.
    open_browser : bool
        Show the page in a browser.
    workers : int
        Runs at a time.

    Raises
    ------
    StoreError
        If another server uses the work folder.
    WeldsimError
        If the address is taken, or one that others reach without `lan`.
    """
    import uvicorn

    place = _listening(host, port, lan)
    at, port = place.getsockname()[:2]
    own = _own_names() if lan else []
    names = [n for n in (*LOCAL, host, at, *own) if n not in EVERYWHERE]
    door = Door(tuple(dict.fromkeys(names)), port, new_key() if lan else None)
    queue = Queue(Path(work), workers, Worker(1, warm_up))
    app = make_app(queue, Worker(1, warm_check), Worker(1, warm_words), door)
    tail = f"/?key={door.key}" if door.key else "/"
    first, *others = (f"http://{n}:{port}{tail}" for n in _listened(at, own))
    print(f"weldsim serve: {first}", flush=True)
    if lan:
        for address in others:
            print(f"  from another machine: {address}", flush=True)
        print("  Whoever has this address can compute on this machine. Plain HTTP: use it only in "
              "a network you trust.", flush=True)  # fmt: skip
    print(f"  work folder {queue.work}; stop with Ctrl-C, what runs resumes next time", flush=True)
    if open_browser:
        threading.Timer(0.8, webbrowser.open, (first,)).start()
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, lifespan="on",
        timeout_graceful_shutdown=3, http=limited_protocol(),
    )  # fmt: skip
    server = uvicorn.Server(config)
    end_on_hangup(lambda: server.handle_exit(signal.SIGTERM, None))
    server.run(sockets=[place])


def _listening(host: str, port: int, lan: bool) -> socket.socket:
    """A socket bound to an address, to all addresses of this machine with `lan`."""
    if host not in LOCAL and not lan:
        raise WeldsimError(
            f"serve: {host} can be reached by other machines: add --lan, which asks them for a key"
        )
    if lan and host in LOCAL:
        host = "0.0.0.0"
    try:
        place = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        place.bind((host, int(port)))
    except (OSError, OverflowError) as error:
        raise WeldsimError(f"serve: {host}:{port} cannot be listened on: {error}") from None
    return place


def _listened(at: str, own: list[str]) -> list[str]:
    """Names under which a page that listens at an address is reached, as they stand in a URL."""
    if at in EVERYWHERE:
        return [EVERYWHERE[at], *own]
    return [f"[{at}]" if ":" in at else at]


def _own_names() -> list[str]:
    """Names and addresses of this machine in its network."""
    name = socket.gethostname()
    found = [name.lower()]
    try:
        found += [str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)]
    except OSError:
        pass
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:  # no packet is sent: this only asks which of our addresses would be used
            probe.connect(("192.0.2.1", 9))
            found.append(probe.getsockname()[0])
        except OSError:
            pass
    return [n for n in dict.fromkeys(found) if not n.startswith("127.")]
