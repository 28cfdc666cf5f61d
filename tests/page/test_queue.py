"""The queue: order, stopping, and a server that ends in the middle. Runs are stand-ins here."""

import errno
import json
import time
from pathlib import Path

import pytest

from tests.page.kit import StillWorker, queue_of, starter, wait_for
from tests.page.stand_ins import (
    broken,
    clumsy,
    counting,
    drawing_while_held,
    endless,
    gone,
    interrupted,
    killed,
    nap,
    nothing,
    patient,
    quick,
    serve_and_wait,
    slow_to_warm_up,
    telling,
    too_slow_to_warm_up,
)
from weldsim.errors import StoreError, WeldsimError
from weldsim.page import case_form
from weldsim.page.job_store import MOST_OPEN_EACH, MOST_STARTS
from weldsim.page.run_lane import GRACE
from weldsim.page.worker import Stopped, Worker


def steps(queue, job):
    path = queue.store.run_folder(job) / "steps"
    return [line.split() for line in path.read_text().splitlines()] if path.exists() else []


def text():
    return case_form.form_text(starter())


@pytest.fixture
def made(tmp_path):
    """Makes queues on one work folder and closes what is open at the end."""
    open_ones = []

    def make(target=counting, **more):
        queue = queue_of(tmp_path, target, **more)
        open_ones.append(queue)
        return queue

    yield make
    for queue in open_ones:
        queue.close()


def state(queue, job):
    return queue.store.jobs[job.id].state


def test_two_jobs_go_one_after_the_other(made):
    queue = made()
    a, b = (queue.submit("run", t, text(), "me") for t in "ab")
    queue.start()
    wait_for(lambda: state(queue, a) == "running")
    assert state(queue, b) == "waiting"
    wait_for(lambda: state(queue, b) == "done")
    assert state(queue, a) == "done"
    assert queue.store.jobs[b.id].began >= queue.store.jobs[a.id].ended - 0.01
    for job in (a, b):
        assert [s for s, _ in steps(queue, job)] == [str(n) for n in range(10)]


@pytest.mark.slow
def test_two_workers_take_two(made):
    queue = made(workers=2)
    jobs = [queue.submit("run", t, text(), "me") for t in "abc"]
    queue.start()
    wait_for(lambda: [state(queue, j) for j in jobs] == ["running", "running", "waiting"])
    wait_for(lambda: all(state(queue, j) == "done" for j in jobs))


def test_a_waiting_job_is_taken_out_and_a_running_one_stopped_and_gone_on_with(made, tmp_path):
    (tmp_path / "hold").touch()
    queue = made()
    a, b = (queue.submit("run", t, text(), "me") for t in "ab")
    assert queue.stop(b.id).state == "stopped"
    queue.start()
    wait_for(lambda: len(steps(queue, a)) > 2)
    queue.stop(a.id)
    wait_for(lambda: state(queue, a) == "stopped", GRACE)
    at = len(steps(queue, a))
    assert at < 10 and not steps(queue, b)
    (tmp_path / "hold").unlink()
    queue.go_on(a.id)
    wait_for(lambda: state(queue, a) == "done")
    assert [s for s, _ in steps(queue, a)] == [str(n) for n in range(10)]


@pytest.mark.slow
def test_a_server_that_closes_goes_on_next_time(made, tmp_path):
    (tmp_path / "hold").touch()
    queue = made()
    a, b = (queue.submit("run", t, text(), "me") for t in "ab")
    queue.start()
    wait_for(lambda: len(steps(queue, a)) > 2)
    queue.close()
    (tmp_path / "hold").unlink()
    again = made()
    assert [(j.id, j.state) for j in again.store.listed()] == [(a.id, "waiting"), (b.id, "waiting")]
    again.start()
    wait_for(lambda: state(again, b) == "done")
    for job in (a, b):  # nothing lost, nothing twice
        assert [s for s, _ in steps(again, job)] == [str(n) for n in range(10)]
    assert len({pid for _, pid in steps(again, a)}) == 2


@pytest.mark.slow
def test_a_server_that_is_killed_loses_nothing_and_does_nothing_twice(tmp_path, made):
    """kill -9: the run notices that its server is gone and stops; the next server takes over."""
    import multiprocessing

    (tmp_path / "hold").touch()
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    server = context.Process(target=serve_and_wait, args=(tmp_path, text(), there))
    server.start()
    there.close()
    first = here.recv()
    server.kill()
    server.join()
    (tmp_path / "hold").unlink()
    queue = made().start()
    a, b = queue.store.listed()
    assert a.id == first
    wait_for(lambda: state(queue, b) == "done")
    assert queue.store.jobs[a.id].starts == 2 and queue.store.jobs[b.id].starts == 1
    for job in (a, b):
        assert [s for s, _ in steps(queue, job)] == [str(n) for n in range(10)]


def test_one_server_a_work_folder(made):
    made()
    with pytest.raises(StoreError, match="another weldsim serve"):
        made()


def test_a_job_that_takes_servers_down_is_not_started_for_ever(tmp_path, made):
    queue = made()
    job = queue.submit("run", "a", text(), "me")
    queue.close()
    path = tmp_path / "queue" / f"{job.id}.json"
    path.write_text(
        json.dumps({**json.loads(path.read_text()), "state": "running", "starts": MOST_STARTS})
    )
    again = made()
    assert (
        again.store.jobs[job.id].state == "stopped" and "by hand" in again.store.jobs[job.id].error
    )


@pytest.mark.slow
def test_closing_in_good_order_is_no_crash(made):
    """A long run, closed every evening, goes on every morning."""
    queue = made(patient)
    job = queue.submit("run", "a", text(), "me")
    for _ in range(MOST_STARTS + 1):
        queue.start()
        wait_for(lambda q=queue: job.id in q.progress and q.progress[job.id].text == "under way")
        queue.close()
        queue = made(patient)
        assert state(queue, job) == "waiting" and queue.store.jobs[job.id].starts == 0


def test_what_fails_because_it_was_told_to_stop_goes_on_next_time(made):
    """An interrupt inside an import comes out as an error of the library."""
    queue = made(clumsy)
    job = queue.submit("run", "a", text(), "me")
    queue.start()
    wait_for(lambda: job.id in queue.progress and queue.progress[job.id].text == "under way")
    queue.close()
    again = made(clumsy)
    assert state(again, job) == "drawing"  # solved: the pictures alone are left


@pytest.mark.slow
def test_a_run_that_waits_goes_before_the_pictures_of_the_run_before(made, tmp_path):
    """Requirement of issue 13: nobody waits for an animation; the pictures come in the end."""
    (tmp_path / "hold").touch()
    queue = made(drawing_while_held)
    first = queue.submit("run", "a", text(), "me")
    queue.start()
    wait_for(lambda: state(queue, first) == "drawing" and first.id in queue.runs.running)
    second = queue.submit("run", "b", text(), "me")
    wait_for(lambda: queue.store.jobs[second.id].solved > 0)
    assert state(queue, first) == "drawing" and first.id not in queue.runs.running
    assert "no other run waits" in queue.progress[first.id].text
    (tmp_path / "hold").unlink()
    wait_for(lambda: [state(queue, j) for j in (first, second)] == ["done", "done"])
    over = [queue.store.jobs[j.id] for j in (second, first)]
    assert over[0].ended <= over[1].ended and not over[0].error and not over[1].error
    begun = [(queue.store.run_folder(j) / "begun").read_text().count("begun") for j in over]
    assert begun == [1, 2] and over[1].starts == 1


@pytest.mark.slow
def test_pictures_that_wait_can_be_stopped_and_a_killed_server_draws_them_later(made, tmp_path):
    (tmp_path / "hold").touch()
    queue = made(drawing_while_held)
    jobs = [queue.submit("run", t, text(), "me") for t in "ab"]
    queue.start()
    wait_for(lambda: all(state(queue, j) == "drawing" for j in jobs))
    wait_for(lambda: len(queue.runs.running) == 1)
    later = next(j for j in jobs if j.id not in queue.runs.running)
    assert queue.stop(later.id).state == "done"
    assert "pictures were stopped" in queue.store.jobs[later.id].error
    queue.close()
    (tmp_path / "hold").unlink()
    other = next(j for j in jobs if j.id != later.id)
    again = made(drawing_while_held)
    assert state(again, other) == "drawing"
    again.start()
    wait_for(lambda: state(again, other) == "done")
    assert again.store.jobs[other.id].error == ""


def test_a_case_off_the_list_is_remembered_for_who_changes_it(made):
    queue = made(nothing)
    job = queue.submit("run", "a", text(), "me")
    queue.start()
    wait_for(lambda: state(queue, job) == "done")
    path = queue.store.case_file(job)
    queue.remove(job.id)
    assert queue.store.removed[job.id] == (path, text()) and not path.exists()


def test_a_preview_under_way_when_the_server_closes_is_taken_next_time(made):
    def preview(*args, stop, **more):
        wait_for(stop)
        raise Stopped("stopped")

    queue = made(previews=StillWorker({"preview": preview}))
    job = queue.submit("look", "a", text(), "me")
    queue.start()
    wait_for(lambda: state(queue, job) == "running")
    queue.close()
    again = made()
    assert state(again, job) == "waiting" and again.store.jobs[job.id].starts == 0


def test_a_run_that_hears_of_the_end_before_the_server_is_not_begun_again(made):
    """Ctrl-C reaches the runs as well as the server, which takes a while to close."""
    queue = made(interrupted)
    a, b = (queue.submit("run", t, text(), "me") for t in "ab")
    queue.start()
    wait_for(lambda: queue.runs.rest > 0)
    time.sleep(0.3)
    assert [state(queue, j) for j in (a, b)] == ["waiting", "waiting"]
    assert queue.store.jobs[a.id].starts == queue.store.jobs[b.id].starts == 0


@pytest.mark.slow
def test_failures_say_why(made, tmp_path):
    queue = made(broken)
    job = queue.submit("run", "a", text(), "me")
    queue.start()
    wait_for(lambda: state(queue, job) == "failed")
    assert queue.store.jobs[job.id].error == "no equilibrium at 3 s"
    queue.close()
    other = made(killed)
    job = other.submit("run", "b", text(), "me")
    other.start()
    wait_for(lambda: state(other, job) == "failed")
    assert "exit code 9" in other.store.jobs[job.id].error


def test_files_of_others_and_damaged_ones_are_left_alone(tmp_path, made):
    folder = tmp_path / "queue"
    folder.mkdir()
    (folder / "notes.json").write_text("{}")
    (folder / "0123456789abcdef.json").write_text("{half")
    odd = {"id": "b" * 16, "kind": "run", "title": "x", "run": 5, "owner": "", "number": "1"}
    (folder / f"{'b' * 16}.json").write_text(json.dumps({**odd, "made": 0}))
    evil = {
        "id": "a" * 16,
        "kind": "run",
        "title": "x",
        "run": "../../x",
        "owner": "",
        "number": 1,
        "made": 0,
    }
    (folder / f"{'a' * 16}.json").write_text(json.dumps(evil))
    (folder / f"{'c' * 16}.json").write_text("[" * 100_000 + "]" * 100_000)  # deeper than any job
    queue = made()
    assert queue.store.jobs == {} and len(list(folder.glob("*.json"))) == 5


def test_the_queue_has_an_end(made):
    queue = made()
    for _ in range(MOST_OPEN_EACH):
        queue.submit("run", "a", text(), "me")
    with pytest.raises(WeldsimError, match="queue is full"):
        queue.submit("run", "a", text(), "me")
    assert queue.submit("run", "a", text(), "someone else").state == "waiting"


def test_previews_go_their_own_way_and_old_ones_go(made, monkeypatch):
    monkeypatch.setattr("weldsim.page.preview_lane.MOST_KEPT_EACH", 2)

    def preview(text, source, folder, kind, **more):
        more["tell"](0.5, "weld, 3 s")
        Path(folder).mkdir(parents=True)

    queue = made(previews=StillWorker({"preview": preview})).start()
    jobs = [queue.submit("look", f"{n}", text(), "me") for n in range(4)]
    wait_for(lambda: jobs[3].id in queue.store.jobs and state(queue, jobs[3]) == "done")
    wait_for(lambda: jobs[1].id not in queue.store.jobs)
    assert queue.store.run_folder(jobs[3]).exists() and not queue.store.run_folder(jobs[0]).exists()


def test_a_preview_ends_the_one_the_same_browser_asked_for_before(made):
    """It shows a set-up that has changed since; those of others and what-ifs go on."""
    queue = made()
    first, other = (queue.submit("look", who, text(), who) for who in ("me", "somebody"))
    aside = queue.submit("look", "what if", text(), "me", first.id, "swapped")
    rough = queue.submit("rough", "coarse", text(), "me")
    last = queue.submit("look", "changed", text(), "me")
    states = [state(queue, job) for job in (first, other, aside, rough, last)]
    assert states == ["stopped", "waiting", "waiting", "waiting", "waiting"]


def test_the_previews_of_one_browser_do_not_push_out_those_of_another(made, monkeypatch):
    monkeypatch.setattr("weldsim.page.preview_lane.MOST_KEPT_EACH", 1)
    monkeypatch.setattr("weldsim.page.preview_lane.MOST_KEPT", 2)
    queue = made(previews=StillWorker({"preview": make_folder})).start()
    owners = ("mine", "yours", "yours")
    jobs = [queue.submit("look", owner, text(), owner) for owner in owners]
    wait_for(lambda: jobs[1].id not in queue.store.jobs)
    assert state(queue, jobs[2]) == "done" and jobs[0].id in queue.store.jobs
    queue.submit("look", "a third one's", text(), "a third one's")
    wait_for(lambda: jobs[0].id not in queue.store.jobs)


def test_a_job_whose_case_file_is_gone_fails_and_the_next_one_runs(made):
    def preview(text, source, folder, kind, **more):
        Path(folder).mkdir(parents=True)

    queue = made(previews=StillWorker({"preview": preview}))
    kinds = (("run", "me"), ("look", "me"), ("run", "me"), ("look", "somebody"))
    jobs = [queue.submit(kind, kind, text(), who) for kind, who in kinds]
    for job in jobs[:2]:
        queue.store.case_file(job).unlink()
    queue.start()
    wait_for(lambda: all(state(queue, j) == "done" for j in jobs[2:]))
    assert [state(queue, j) for j in jobs[:2]] == ["failed", "failed"]
    assert all("No such file" in queue.store.jobs[j.id].error for j in jobs[:2])


def make_folder(text, source, folder, kind, **more):
    Path(folder).mkdir(parents=True)


@pytest.fixture
def disk(monkeypatch):
    """A disk that is full while the dictionary says so."""
    import os

    state, flush = {"full": False}, os.fsync

    def fsync(handle):
        if state["full"]:
            raise OSError(errno.ENOSPC, "No space left on device")
        flush(handle)

    monkeypatch.setattr("weldsim.system.files.os.fsync", fsync)
    return state


@pytest.mark.slow
def test_a_full_disk_fails_the_jobs_of_that_time_and_no_others(made, disk):
    queue = made(nothing, previews=StillWorker({"preview": make_folder}))
    early = [queue.submit(kind, kind, text(), "me") for kind in ("run", "look")]
    disk["full"] = True
    queue.start()
    wait_for(lambda: all(state(queue, j) == "failed" for j in early))
    assert all("No space left" in queue.store.jobs[j.id].error for j in early)
    with pytest.raises(StoreError, match="No space left"):
        queue.submit("run", "c", text(), "me")
    disk["full"] = False
    late = [queue.submit(kind, kind, text(), "me") for kind in ("run", "look")]
    queue.go_on(early[0].id)
    wait_for(lambda: all(state(queue, j) == "done" for j in [*late, early[0]]))


def test_a_run_that_ends_while_the_disk_is_full_is_done(made, disk, tmp_path):
    """What it came to lies in its folder; only its line in the queue could not be written."""
    (tmp_path / "hold").touch()
    queue = made()
    job = queue.submit("run", "a", text(), "me")
    queue.start()
    wait_for(lambda: len(steps(queue, job)) > 5)
    disk["full"] = True
    (tmp_path / "hold").unlink()
    wait_for(lambda: state(queue, job) == "done")
    disk["full"] = False
    queue.close()
    assert state(made(), job) == "waiting"  # and is found done when it is taken up


def test_a_damaged_case_file_and_a_fault_of_our_own_fail_that_job_only(made):
    def preview(text, source, folder, kind, **more):
        if "odd" in text:
            raise RuntimeError("not foreseen")
        make_folder(text, source, folder, kind)

    queue = made(nothing, previews=StillWorker({"preview": preview}))
    kinds = ("run", "look", "look", "run", "look")
    jobs = [queue.submit(kind, kind, text(), f"browser {n}") for n, kind in enumerate(kinds)]
    for job in jobs[:2]:
        queue.store.case_file(job).write_bytes(b"title = '\xff'")
    queue.store.case_file(jobs[2]).write_text("odd")
    queue.start()
    wait_for(lambda: all(state(queue, j) == "done" for j in jobs[3:]))
    assert [state(queue, j) for j in jobs[:3]] == ["failed"] * 3
    assert all("cannot be read" in queue.store.jobs[j.id].error for j in jobs[:2])
    assert "RuntimeError: not foreseen" in queue.store.jobs[jobs[2].id].error


@pytest.mark.slow
def test_the_limit_of_a_request_does_not_count_the_warm_up(monkeypatch):
    """Else a slow machine ends its worker before it ever answered, again and again."""
    worker = Worker(1, slow_to_warm_up)
    try:
        first = worker.call(quick, limit=0.8)
        assert worker.call(quick, limit=0.8) == first  # the same process
        with pytest.raises(WeldsimError, match="no answer within"):
            worker.call(nap, limit=0.8)
        assert worker.call(quick, limit=0.8) != first
    finally:
        worker.close()
    monkeypatch.setattr("weldsim.page.worker.WARM_UP", 0.2)
    worker = Worker(1, too_slow_to_warm_up)
    try:
        with pytest.raises(WeldsimError, match="did not start"):
            worker.call(quick, limit=5.0)
    finally:
        worker.close()


@pytest.mark.slow
def test_a_worker_is_ended_where_it_listens_to_nothing_and_comes_back():
    """A power without end is computed in C, where no signal handler of Python runs."""
    worker = Worker(1)
    try:
        worker.call(quick, limit=5.0)
        begun = time.monotonic()
        with pytest.raises(WeldsimError, match="no answer within"):
            worker.call(endless, limit=0.5)
        assert time.monotonic() - begun < 5.0
        with pytest.raises(WeldsimError, match="ended unexpectedly"):
            worker.call(gone, limit=5.0)
        with pytest.raises(Stopped):
            worker.call(nap, limit=60.0, stop=lambda: time.monotonic() - begun > 2.0)
        told = []
        assert worker.call(telling, limit=5.0, tell=lambda *said: told.append(said)) == "done"
        assert told == [(0.5, "half")]
    finally:
        worker.close()


def test_time_left_goes_by_the_work_done():
    """Half the work in 10 s leaves 10 s."""
    from weldsim.page.events import Progress

    assert Progress(0.5, "", 100.0, 0.0).left(110.0) == pytest.approx(10.0)
    assert Progress(0.6, "", 100.0, 0.2).left(110.0) == pytest.approx(10.0)
    assert Progress(0.001, "", 100.0, 0.0).left(110.0) is None
