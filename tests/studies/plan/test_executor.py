"""Workers of this machine and of a Dask cluster: one path, and whoever dies takes nothing along."""

import os
import signal
import sys
import threading
import types
from concurrent.futures import Future
from multiprocessing import active_children

import pytest

from tests.studies.small import Here, small_plan
from weldsim.errors import SetupError, WeldsimError
from weldsim.studies.plan import executor
from weldsim.studies.plan.branches import FOLDER, Job
from weldsim.studies.plan.executor import MOST_DEATHS, carry_out, open_executor
from weldsim.studies.plan.outcomes import evaluate
from weldsim.studies.plan.ranking import rank


def jobs(*names):
    return [Job("x", None, 0, "sketch", (), n, "") for n in names]


class Mortal(Here):
    """An executor whose worker dies a number of times on one branch."""

    def __init__(self, name, deaths):
        super().__init__()
        self.name, self.deaths = name, deaths

    def submit(self, job):
        self.jobs.append(job.name)
        future = Future()
        if job.name == self.name and self.deaths > 0:
            self.deaths -= 1
            future.set_exception(ChildProcessError("gone"))
        else:
            future.set_result({"name": job.name})
        return future

    def died(self, error):
        return isinstance(error, ChildProcessError)


def test_a_branch_whose_worker_died_is_handed_out_again():
    found = Mortal("a", 1)
    a, b, c = jobs("a", "b", "c")
    records = carry_out(found, [a, b], {"a": [c]}, lambda r: None)
    assert sorted(records) == ["a", "b", "c"] and found.jobs.count("a") == 2
    assert not any("error" in r for r in records.values())


def test_a_branch_that_kills_its_workers_is_given_up_with_what_grows_from_it():
    found = Mortal("a", 99)
    a, b, c = jobs("a", "b", "c")
    records = carry_out(found, [a, b], {"a": [c]}, lambda r: None)
    assert found.jobs.count("a") == MOST_DEATHS and "died" in records["a"]["error"]
    assert "earlier weld" in records["c"]["error"] and "error" not in records["b"]


class Pool(Here):
    """An executor of two whose worker dies on one branch and takes along what ran beside it."""

    room = 2

    def __init__(self):
        super().__init__()
        self.running = {}

    def submit(self, job):
        self.jobs.append(job.name)
        future = Future()
        self.running[future] = job
        assert len(self.running) <= self.room
        return future

    def wait(self, futures):
        dead = any(job.name == "bad" for job in self.running.values())
        for future, job in self.running.items():
            if dead:
                future.set_exception(ChildProcessError("gone"))
            else:
                future.set_result({"name": job.name})
        done, self.running = list(self.running), {}
        return done

    def died(self, error):
        return isinstance(error, ChildProcessError)


def test_a_branch_that_kills_its_worker_takes_no_other_along():
    found = Pool()
    good = [f"g{i}" for i in range(20)]
    records = carry_out(found, jobs("g0", "bad", *good[1:]), {}, lambda r: None)
    assert "died" in records["bad"]["error"]
    assert not any("error" in records[g] for g in good)


def test_a_bug_is_not_swallowed():
    class Broken(Here):
        def submit(self, job):
            future = Future()
            future.set_exception(ZeroDivisionError())
            return future

    with pytest.raises(ZeroDivisionError):
        carry_out(Broken(), jobs("a"), {}, lambda r: None)


class Silent:
    """A pool that takes a job and never speaks of it again."""

    def __init__(self, active):
        self.active, self.ended = active, threading.Event()

    def schedule(self, work, args):
        return Future()

    def stop(self):
        self.active = False

    def join(self):
        self.ended.set()


@pytest.mark.parametrize("broken", [True, False], ids=["the pool broke", "the job went down"])
def test_a_job_lost_between_two_workers_is_not_waited_for(broken, monkeypatch):
    """A process killed between taking a job off the line and saying so takes it along unseen."""
    monkeypatch.setattr(executor, "GLANCE", 0.01)
    monkeypatch.setattr(executor, "LOST_AFTER", 0.05)
    found = executor.LocalExecutor(1)
    monkeypatch.setattr(found, "_start", lambda: None)
    found._pool, found._proven = Silent(True), True
    future = found.submit(jobs("a")[0])
    found._pool.active = not broken
    assert list(found.wait({future})) == [future]
    assert found.died(future.exception()) and found._pool.ended.is_set()


def test_a_job_that_stands_in_line_behind_a_long_one_is_not_lost(monkeypatch):
    monkeypatch.setattr(executor, "GLANCE", 0.01)
    monkeypatch.setattr(executor, "LOST_AFTER", 0.05)
    found = executor.LocalExecutor(1)
    found._pool, found._proven = Silent(True), True
    long, next_one = (found.submit(job) for job in jobs("a", "b"))
    long.set_running_or_notify_cancel()
    threading.Timer(0.3, long.set_result, [{}]).start()
    assert list(found.wait({long, next_one})) == [long]
    assert found._pool.active and not next_one.done()


def test_threads_are_as_before_afterwards(monkeypatch):
    monkeypatch.setenv("OMP_NUM_THREADS", "7")
    monkeypatch.delenv("WELDSIM_THREADS", raising=False)
    with open_executor(1):
        assert os.environ["OMP_NUM_THREADS"] == "1"
    assert os.environ["OMP_NUM_THREADS"] == "7" and "WELDSIM_THREADS" not in os.environ


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """What one process finds."""
    plan = small_plan()
    return evaluate(plan, 0, plan.schedules(), "sketch", tmp_path_factory.mktemp("alone"), Here())


@pytest.mark.slow
@pytest.mark.parametrize("cluster", [None, "local"])
def test_a_worker_killed_in_the_middle_loses_and_doubles_nothing(alone, cluster, tmp_path):
    if cluster:
        pytest.importorskip("distributed")
    plan, killed = small_plan(), []
    with open_executor(2, cluster) as found:

        def kill(share, text):
            if killed:
                return
            if cluster:
                pid = next(iter(found._own.workers.values())).process.pid
            else:
                pid = next(p.pid for p in active_children())
            os.kill(pid, signal.SIGKILL)
            killed.append(pid)

        again = evaluate(plan, 0, plan.schedules(), "sketch", tmp_path, found, kill)
    assert killed
    assert len(list((tmp_path / FOLDER).glob("*.json"))) == 3
    assert not list((tmp_path / FOLDER).glob("*.part"))
    for moves, outcome in alone.items():
        for column, value in outcome.readings.items():
            assert again[moves].readings[column] == pytest.approx(value, abs=1e-7)


def test_workers_that_die_at_once_are_said_in_one_line(monkeypatch, tmp_path):
    """A worker that cannot even begin, as for want of memory, is no fault of a branch."""
    begin = tmp_path / "begin.py"
    begin.write_text("import os\nos._exit(3)\n")  # what a worker imports first is this script
    main = types.ModuleType("__main__")
    main.__file__ = str(begin)
    monkeypatch.setitem(sys.modules, "__main__", main)
    with pytest.raises(WeldsimError, match="workers die as soon as they start") as refusal:
        with open_executor(1) as found:
            carry_out(found, jobs("a"), {}, lambda r: None)
    assert "\n" not in str(refusal.value)


@pytest.mark.slow
def test_a_scheduler_that_is_not_there_is_said_in_one_line_and_leaves_no_folder(tmp_path):
    pytest.importorskip("distributed")
    with pytest.raises(SetupError, match="no scheduler answers"):
        rank(small_plan(), tmp_path / "study", cluster="no address")
    assert not list(tmp_path.iterdir())
    with pytest.raises(SetupError, match="no scheduler answers"):
        with open_executor(1, "tcp://127.0.0.1:9"):
            pass
