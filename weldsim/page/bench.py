"""What the addresses of the page share, and how a function becomes what an address answers."""

from __future__ import annotations

import json
import os
import threading
import traceback
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from weldsim.errors import WeldsimError
from weldsim.page import case_list, runs, sheets, shops, studies, tasks
from weldsim.page.case_form import Base, form_text, read_tables
from weldsim.page.films import Films
from weldsim.page.job_store import ID
from weldsim.page.measured_store import MeasuredStore
from weldsim.page.queue import Queue
from weldsim.page.worker import Busy, Stopped, Worker

MOST_KEPT = 40  # answers
Answer = Response | dict[str, Any]  # what an address answers; a dictionary becomes JSON
SHEET_LIMIT = 90.0  # s for drawing a bench sheet
CHECK_LIMIT = 5.0  # s for reading a case, which takes a few hundredths


@dataclass(frozen=True)
class Asked:
    """One request.

    Attributes
    ----------
    path, query : mapping of str to str
        What its address holds.
    headers : mapping of str to str
    me : str
        The browser it comes from.
    body : dict
        The JSON object it brings; empty without.
    """

    path: Mapping[str, str]
    query: Mapping[str, str]
    headers: Mapping[str, str]
    me: str
    body: dict


@dataclass
class Bench:
    """What the addresses share.

    Attributes
    ----------
    queue : Queue
    reader : Worker
        Reads and checks cases, quickly.
    worker : Worker
        For words, sizes and shapes, which take meshing.
    lan : bool
        Whether other machines are let in.
    measured : MeasuredStore
        Files of measurements.
    films : Films
        Reads those that are films.
    """

    queue: Queue
    reader: Worker
    worker: Worker
    lan: bool = False
    kept: OrderedDict = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)
    measured: MeasuredStore = field(init=False)
    films: Films = field(init=False)

    def __post_init__(self) -> None:
        self.measured = MeasuredStore(self.queue.work)
        self.films = Films(self.measured)

    @property
    def work(self) -> Path:
        """The work folder."""
        return self.queue.work

    @property
    def form_file(self) -> Path:
        """Where a case that was made here would lie: files it names are looked for beside it."""
        return self.work / "draft.toml"

    def keep(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """An answer from the last few, or a new one.

        Parameters
        ----------
        key : hashable
            What the answer depends on.
        make : callable
            Gives the answer; called where it is not kept.

        Returns
        -------
        object
            The answer.
        """
        with self.lock:
            if key in self.kept:
                return self.kept[key]
        made = make()
        with self.lock:
            self.kept[key] = made
            while len(self.kept) > MOST_KEPT:
                self.kept.popitem(last=False)
        return made

    def without_paths(self, text: str) -> str:
        """A message without the folders of this machine, and without the name of the draft.

        Parameters
        ----------
        text : str
            Of an error.

        Returns
        -------
        str
            The same.
        """
        draft = str(self.form_file)
        for own in (f"{draft} ", f"{draft}: ", f"{self.work}{os.sep}"):
            text = text.replace(own, "")
        return text

    def known(self, key: Hashable) -> Any:
        """An answer from the last few.

        Parameters
        ----------
        key : hashable
            What the answer depends on.

        Returns
        -------
        object
            None where it is not kept.
        """
        with self.lock:
            return self.kept.get(key)

    def base(self, id: object) -> Base | None:
        """Case file of the work folder, job or run that the fields began from.

        Parameters
        ----------
        id : object
            As a request brings it; blank for fields that began from a starter.

        Returns
        -------
        Base or None
            What the fields began from.
        """
        if not id:
            return None
        known = {**case_list.example_files(), **case_list.case_files(self.work)}
        path = known.get(str(id))
        if path is not None:
            return Base.read(path)
        store = self.queue.store
        if job := store.jobs.get(str(id)):
            return Base.of(store.case_file(job), store.case_text(job))
        if folder := runs.run_folders(self.work).get(str(id)):
            return runs.base_of(folder)
        if removed := store.removed.get(str(id)):
            return Base.of(*removed)
        raise WeldsimError("what this began from is no longer in the work folder")

    def form_text(self, body: dict, anchor: bool = True) -> tuple[str, str]:
        """The fields a request holds as the text of a case, and the file it would lie in.

        Parameters
        ----------
        body : dict
            Of a request: `tables`, and `base` by id.
        anchor : bool, optional
            A kept shop is named by its whole path: what is computed lies elsewhere.

        Returns
        -------
        tuple of str
            TOML text, and path of the file.
        """
        base = self.base(body.get("base"))
        where = base.path if base else self.form_file
        text = form_text(body.get("tables"), base)
        return shops.anchored(text, self.work) if anchor else text, str(where)

    def commented(self, body: dict, text: str) -> str:
        """The text of a case, with the comments of the text that its fields were read from.

        Parameters
        ----------
        body : dict
            Of a request: `base` by id, or the text itself as `source`.
        text : str
            The case as it is to be, without comments.

        Returns
        -------
        str
            The same case, with comments where there were some.
        """
        base = self.base(body.get("base"))
        source = base.text if base else body.get("source")
        if not isinstance(source, str) or not source:
            return text
        try:
            return self.reader.call(tasks.commented, source, read_tables(text), limit=CHECK_LIMIT)
        except (Busy, Stopped):
            raise
        except WeldsimError:  # too much for that: the comments are lost, not the case
            return text

    def check(self, text: str, where: str) -> dict:
        """What is right or wrong with a case, see `tasks.check`; asked anew, for files change.

        Parameters
        ----------
        text : str
            Case as TOML.
        where : str
            File it would lie in.

        Returns
        -------
        dict
            See `tasks.check`; a single message where reading came to no end.
        """
        try:
            return self.reader.call(tasks.check, text, where, limit=CHECK_LIMIT)
        except (Busy, Stopped):
            raise
        except WeldsimError as error:
            told = {"section": "", "name": "", "key": "", "text": f"cannot be read: {error}"}
            return {"ok": False, "messages": [told]}

    def folder(self, id: str) -> Path:
        """Folder of a job, or of a run or plan that lies in the work folder.

        Parameters
        ----------
        id : str
            Of a job, or of a run or plan from before the page.

        Returns
        -------
        Path
            Its folder.
        """
        if not ID.fullmatch(id):
            raise WeldsimError("no such run")
        job = self.queue.store.jobs.get(id)
        if job:
            return self.queue.store.run_folder(job)
        for folders in (runs.run_folders, studies.plan_folders):
            if path := folders(self.work).get(id):
                return path
        raise WeldsimError("no such run")

    def sheet(self, asked: Asked) -> tuple[Path, bytes]:
        """The bench sheet of a run or a plan, drawn anew in the units asked for.

        Parameters
        ----------
        asked : Asked
            `id` in its path, `units` in its query.

        Returns
        -------
        tuple of Path and bytes
            The folder, and the PDF file.
        """
        folder, units = self.folder(asked.path["id"]), asked.query.get("units", "metric")
        if units not in sheets.UNITS:
            raise WeldsimError(f"units: {units!r} is not allowed: {', '.join(sheets.UNITS)}")
        path = self.worker.call(sheets.sheet, str(folder), units, limit=SHEET_LIMIT)
        return folder, Path(path).read_bytes()


def api(work: Callable[[Bench, Asked], Answer]) -> Callable:
    """A route's endpoint from a function that gives JSON or a response.

    Parameters
    ----------
    work : callable(bench, asked)
        Called in a thread. What it raises of ours is answered in words.

    Returns
    -------
    callable
        What Starlette takes as an endpoint.
    """

    async def answer(request: Request) -> Response:
        body: dict = {}
        try:
            if request.method == "POST":
                body = json.loads(await request.body(), parse_constant=_no_number)
                if not isinstance(body, dict):
                    raise ValueError
                json.dumps(body, ensure_ascii=False).encode()  # JSON knows halves of letters
        except (ValueError, RecursionError):
            return refusal("the request is not a JSON object of whole letters", 400)
        me = request.scope.get("me", "")
        asked = Asked(request.path_params, request.query_params, request.headers, me, body)
        try:
            out = await run_in_threadpool(work, request.app.state.bench, asked)
            return out if isinstance(out, Response) else JSONResponse(out)
        except (Busy, Stopped) as error:
            return refusal(str(error), 503)
        except WeldsimError as error:
            text = request.app.state.bench.without_paths(str(error))
            return refusal(text, 404 if "id" in asked.path else 409)
        except Exception as error:
            traceback.print_exc()
            return refusal(
                f"something went wrong here that was not foreseen ({type(error).__name__}); "
                "the terminal of weldsim serve says where", 500,
            )  # fmt: skip

    return answer


def refusal(text: str, status: int) -> JSONResponse:
    """A sentence that says why not.

    Parameters
    ----------
    text : str
        The sentence.
    status : int
        Of HTTP.

    Returns
    -------
    JSONResponse
        With the sentence under `error`.
    """
    return JSONResponse({"error": text}, status)


def _no_number(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number of JSON")
