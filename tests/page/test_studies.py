"""Studies of the page: what may be asked, and how it is answered. Their processes are stand-ins."""

import errno
import json
import tomllib
from dataclasses import replace

import pytest
import tomli_w

from tests.page.kit import client_of, post, queue_of, starter, wait_for
from tests.page.stand_ins import answering
from tests.synthetic_run import write_run
from weldsim.page import studies
from weldsim.page.costs import price
from weldsim.page.files import file_stem
from weldsim.page.speed import Speed


def tee(**plan):
    tables = starter("square-tube-tee")
    tables["plan"] = {"measure": "pointer", "tolerance": "1 mrad", **plan}
    return tables


@pytest.fixture
def page(tmp_path):
    return client_of(tmp_path)


def test_a_plan_says_how_many_sequences_it_looks_at(page):
    """Four seams, both ways: 4! orders times 2^4 directions."""
    found = post(page[0], "/api/plan", {"tables": tee()}).json()
    assert found["ok"] and found["sequences"] == 24 * 2**4
    assert found["seams"]["left"] and set(found["seams"]) == {"front", "back", "left", "right"}
    found = post(page[0], "/api/plan", {"tables": tee(first=["back"])}).json()
    assert found["sequences"] == 6 * 2**4
    wrong = post(page[0], "/api/plan", {"tables": tee(last=["roof"])}).json()
    assert not wrong["ok"] and "roof" in wrong["messages"][0]["text"]


def test_a_case_without_a_plan_is_offered_a_usual_one(page):
    tables = starter("square-tube-tee")
    found = post(page[0], "/api/plan", {"tables": tables}).json()
    assert not found["ok"] and found["usual"]["plan"]["measure"] == "pointer"
    tables["plan"] = found["usual"]["plan"]
    assert post(page[0], "/api/plan", {"tables": tables}).json()["ok"]


@pytest.mark.parametrize(
    "vary", [{"part.material": ["/etc/passwd"]}, {"part.file": ["x.step"]}, {"gauge.p.path": [1]}]
)
def test_a_plan_varies_no_files(page, vary):
    found = post(page[0], "/api/studies", {"kind": "plan", "tables": tee(vary=vary)})
    assert found.status_code == 409 and "not allowed" in str(found.json())


@pytest.mark.parametrize(
    "body, word",
    [
        ({"kind": "magic"}, "magic"),
        ({"kind": "preset", "runs": 99}, "runs"),
        ({"kind": "preset", "gauge": "no such"}, "no such"),
        ({"kind": "preset", "tolerance": "1 kg"}, "1 kg"),
        ({"kind": "correct", "limit": "hot"}, "limit"),
        ({"kind": "correct", "line": "hammer"}, "hammer"),
        ({"kind": "heats", "grade": "gold"}, "gold"),
        ({"kind": "plan"}, "[plan]"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_line(page, body, word):
    found = post(page[0], "/api/studies", {"tables": starter("square-tube-tee"), **body})
    assert found.status_code == 409 and word in json.dumps(found.json())
    assert not page[1].queue.store.jobs


def test_a_study_of_a_wrong_case_is_not_begun(page):
    tables = tee()
    tables["part"]["chord_wall"] = "3 kg"
    found = post(page[0], "/api/studies", {"kind": "plan", "tables": tables})
    assert found.status_code == 409 and not page[1].queue.store.jobs


def finished_plan(client, bench):
    """A plan of the tee whose folder holds two rows."""
    job = post(client, "/api/studies", {"kind": "plan", "tables": tee()}).json()
    folder = bench.queue.store.run_folder(bench.queue.store.jobs[job["id"]])
    folder.mkdir()
    record = {
        "title": "My tee", "case": bench.queue.store.case_text(bench.queue.store.jobs[job["id"]]),
        "source_file": "tee.toml", "overrides": [], "unit": "mrad", "rows": [
            {"rank": 1, "schedule": "one", "setting": [],
             "moves": [["back", -1], ["front", 1], ["left", 1], ["right", -1]]},
            {"rank": 2, "schedule": "two", "setting": [],
             "moves": [["left", 1], ["right", 1], ["back", 1], ["front", 1]]},
        ],
    }  # fmt: skip
    (folder / "plan.json").write_text(json.dumps(record))
    return job, folder


def test_a_row_of_a_plan_becomes_the_order_of_the_set_up(page):
    client, bench = page
    job, _ = finished_plan(client, bench)
    found = client.get(f"/api/studies/{job['id']}").json()
    assert [r["schedule"] for r in found["answer"]["rows"]] == ["one", "two"]
    assert "case" not in found["answer"]
    tables = client.get(f"/api/studies/{job['id']}/case/0").json()["tables"]
    order = [item.split(":") for item in tables["schedule"]["order"]]
    assert [seam for seam, _ in order] == ["back", "front", "left", "right"]
    own = post(client, "/api/plan", {"tables": tee()}).json()["seams"]
    first, second = own["back"][:2]  # +x and -x: the natural direction is +1
    assert dict(order)["back"] in own["back"] and {first, second} >= {dict(order)["back"]}
    assert client.get(f"/api/studies/{job['id']}/case/7").status_code == 404


def test_readings_are_asked_of_a_plan(page):
    client, bench = page
    job, _ = finished_plan(client, bench)
    body = {"kind": "next", "of": job["id"], "after": "front:+x", "readings": ["pointer.up=-3 mm"]}
    asked = post(client, "/api/studies", body).json()
    assert asked["parent"] == job["id"] and "front +x" in asked["change"]
    options = json.loads(bench.queue.store.jobs[asked["id"]].options)
    assert options["after"] == "front:+x" and options["folder"].endswith(job["id"][:8])
    about = client.get(f"/api/studies/{job['id']}").json()["about"]
    assert [a["id"] for a in about] == [asked["id"]]
    for wrong in ({"readings": ["pointer.up=3"]}, {"after": "roof:+x"}, {"readings": []},
                  {"readings": ["dial=1 mm"]}, {"noise": -1}):  # fmt: skip
        assert post(client, "/api/studies", {**body, **wrong}).status_code == 409
    said = post(client, "/api/studies", {**body, "after": "roof:+x"}).json()["error"]
    assert "roof" in said and "--" not in said
    price = post(client, "/api/cost", body).json()  # before it is asked for
    assert price["seconds"] > 0 and f"for {price['welds']} welds at grade" in price["note"]
    assert post(client, "/api/cost", {**body, "after": "roof:+x"}).status_code == 409


def test_who_waits_at_the_bench_goes_first(page):
    client, bench = page
    job, _ = finished_plan(client, bench)
    body = {"kind": "next", "of": job["id"], "after": "front:+x", "readings": ["pointer.up=-3 mm"]}
    post(client, "/api/jobs", {"kind": "run", "tables": starter()})
    asked = post(client, "/api/studies", body).json()
    assert bench.queue.runs.next_run().id == asked["id"]


def test_why_is_asked_of_a_run(page, tmp_path):
    client, bench = page
    write_run(tmp_path / "a run", frames=(0.0, 30.0))
    (run,) = [r for r in client.get("/api/shelf").json()["runs"]]
    job = post(client, "/api/studies", {"kind": "why", "of": run["id"], "replay": False}).json()
    options = json.loads(bench.queue.store.jobs[job["id"]].options)
    assert options == {"replay": False, "folder": str((tmp_path / "a run").resolve())}
    none = post(client, "/api/studies", {"kind": "why", "of": "0" * 16})
    assert none.status_code == 409


def test_an_answer_is_kept_and_goes_into_the_set_up(tmp_path):
    queue = queue_of(tmp_path, study_target=answering)
    client, bench = client_of(tmp_path, queue=queue)
    tables = starter("square-tube-tee")
    job = post(client, "/api/studies", {"kind": "preset", "tables": tables, "runs": 3}).json()
    queue.start()
    try:
        wait_for(lambda: queue.store.jobs[job["id"]].state == "done", 120.0)
    finally:
        queue.close()
    found = client.get(f"/api/studies/{job['id']}").json()
    assert found["answer"]["words"] == ["preset, runs 3"]
    changed = client.get(f"/api/studies/{job['id']}/case/0").json()["tables"]
    assert changed["preset"] == {"tilt_x": "2 mrad"} and changed["part"] == tables["part"]
    answer = client.get(f"/api/studies/{job['id']}/file/answer")
    assert answer.headers["content-disposition"].startswith("attachment")
    assert client.get(f"/api/studies/{job['id']}/file/page").status_code == 404


def test_plans_of_the_command_line_are_found(page, tmp_path):
    client, bench = page
    job, folder = finished_plan(client, bench)
    folder.rename(tmp_path / "by hand")
    bench.queue.stop(job["id"])
    bench.queue.remove(job["id"])
    (id,) = studies.plan_folders(tmp_path)
    found = client.get(f"/api/studies/{id}").json()
    assert found["job"]["state"] == "" and len(found["answer"]["rows"]) == 2
    assert client.get(f"/api/studies/{id}/words").json()["ok"]


def test_a_page_of_a_plan_is_shown_with_an_origin_of_its_own(page):
    """A page with scripts in it must not be able to ask the server for anything."""
    client, bench = page
    job, folder = finished_plan(client, bench)
    (folder / "plan.html").write_text("<p>a plan</p>")
    shown = client.get(f"/api/studies/{job['id']}/file/page?open=1")
    policy = shown.headers["content-security-policy"]
    assert policy.startswith("sandbox") and "allow-same-origin" not in policy
    assert "connect-src" not in policy and "default-src 'none'" in policy
    assert shown.headers["content-disposition"].startswith("inline")


@pytest.mark.parametrize(
    "title, stem",
    [("Mast stub: which order?", "mast-stub-which-order"), ("../../etc", "etc"), ("!!", "other"),
     ("Träger 2", "träger-2"), ("x" * 200, "x" * 60)],
)  # fmt: skip
def test_files_are_named_after_the_title(title, stem):
    assert file_stem(title, "other") == stem


def test_a_file_with_a_comment_keeps_it_with_another_sequence(page):
    client, bench = page
    job, folder = finished_plan(client, bench)
    text = "# mine\n" + bench.queue.store.case_text(bench.queue.store.jobs[job["id"]])
    bench.queue.store.case_file(bench.queue.store.jobs[job["id"]]).write_text(text)
    found = client.get(f"/api/studies/{job['id']}/case/1").json()
    again = post(client, "/api/case", {"tables": found["tables"], "source": found["source"]}).json()
    assert again["text"].startswith("# mine")
    assert tomllib.loads(again["text"])["schedule"]["order"][0].startswith("left:")


# ------------------------------------------------------------------------- what it costs
def test_a_job_says_what_it_takes_before_it_is_asked_for(page):
    client, bench = page
    body = {"kind": "run", "tables": starter(), "grade": "coarse"}
    found = post(client, "/api/cost", body).json()
    assert found["seconds"] == pytest.approx(20.0) and found["pictures"] > 0
    bench.queue.speed.note("run", 10.0, 30.0)  # this machine takes three times as long
    slower = post(client, "/api/cost", body).json()["seconds"]
    assert 20.0 < slower < 60.0
    for _ in range(8):
        bench.queue.speed.note("run", 10.0, 30.0)
    assert post(client, "/api/cost", body).json()["seconds"] == pytest.approx(60.0, rel=0.1)
    assert post(client, "/api/cost", {**body, "kind": "nap"}).status_code == 409
    assert post(client, "/api/cost", {**body, "grade": "gold"}).status_code == 409


def test_what_this_machine_takes_is_known_again(tmp_path):
    speed = Speed(tmp_path / "speed.json")
    assert speed.factor("run") == 1.0
    for _ in range(20):
        speed.note("run", 10.0, 5.0)
    speed.note("run", 10.0, 1e6)  # a machine that slept
    again = Speed(tmp_path / "speed.json")
    assert again.factor("run") == pytest.approx(0.5, rel=0.1)
    assert again.factor("preset") == again.factor("run") and again.factor("pictures") == 1.0
    (tmp_path / "speed.json").write_text("[1, 2")
    assert Speed(tmp_path / "speed.json").factor("run") == 1.0


def test_a_full_disk_is_no_reason_to_lose_what_a_run_took(tmp_path, monkeypatch):
    """A run that is over stays done: its time is known to this server alone."""

    def fsync(handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("weldsim.system.files.os.fsync", fsync)
    speed = Speed(tmp_path / "speed.json")
    for _ in range(4):
        speed.note("run", 10.0, 20.0)
    assert speed.known == 4 and 1.5 < speed.factor("run") <= 2.0
    assert not (tmp_path / "speed.json").exists()


@pytest.mark.slow
def test_a_plan_costs_by_its_welds():
    """All sequences of four seams both ways share beginnings: 8 + 8 6 + 8 6 4 + 8 6 4 2 = 632
    welds; the tee's two mirrors leave a quarter, 158."""
    tables = tee(grade="sketch", confirm=0)
    text = tomli_w.dumps(tables)
    found = price(text, "tee.toml", "plan", {})
    assert found["welds"] == 158 and found["sequences"] == 384
    one = price(text, "tee.toml", "run", {"grade": "sketch"})
    assert found["seconds"] == pytest.approx(158 / 4 * one["seconds"], rel=0.3)


def test_a_coarse_run_is_a_run_that_resumes(page):
    """Nothing that takes minutes is cut off, and nothing that was computed is lost."""
    client, bench = page
    job = post(client, "/api/jobs", {"kind": "rough", "tables": starter()}).json()
    assert job["kind"] == "run"
    solve = tomllib.loads(bench.queue.store.case_text(bench.queue.store.jobs[job["id"]]))["solve"]
    assert solve["grade"] == "coarse" and solve["error_estimate"] is False


# ---------------------------------------------------------------------------- the spread
def test_what_scatters_is_offered_with_its_source(page):
    found = post(page[0], "/api/scatter", {"tables": starter()}).json()["scatter"]
    by_key = {row["key"]: row for row in found}
    assert by_key["arc.efficiency"]["spread"] == "6 %" and by_key["arc.efficiency"]["source"]
    assert by_key["metal.softening_temperature"]["spread"] == "50 K"
    assert all(row["words"] and "." not in row["words"] for row in found)


def test_a_band_is_a_job_that_says_what_scatters(page):
    client, bench = page
    body = {"kind": "band", "tables": starter(), "grade": "sketch", "sample": 12,
            "spread": {"arc.efficiency": "3 %"},
            "exact": ["surroundings.film_coefficient"]}  # fmt: skip
    job = post(client, "/api/studies", body).json()
    told = json.loads(bench.queue.store.jobs[job["id"]].options)
    assert job["kind"] == "band" and told["sample"] == 12
    assert told["exact"] == ["surroundings.film_coefficient"]


@pytest.mark.parametrize(
    "more, word",
    [({"sample": 3}, "sample"), ({"grade": "fine"}, "fine"), ({"exact": ["arc.colour"]}, "colour"),
     ({"spread": {"arc.efficiency": "much"}}, "standard deviation"), ({"finer": "gold"}, "gold")],
)  # fmt: skip
def test_a_band_that_cannot_be_made_is_refused_in_one_line(page, more, word):
    client, bench = page
    found = post(client, "/api/studies", {"kind": "band", "tables": starter(), **more})
    assert found.status_code == 409 and word in found.json()["error"]
    assert "\n" not in found.json()["error"] and not bench.queue.store.jobs


def test_a_plan_counts_a_band_of_the_same_gauge_alone(page, tmp_path):
    """The odds of `weldsim plan --band`: the folder is found by the id of its job."""
    client, bench = page
    band = post(client, "/api/studies", {"kind": "band", "tables": tee()}).json()
    folder = bench.queue.store.run_folder(bench.queue.store.jobs[band["id"]])
    body = {"kind": "plan", "tables": tee(), "band": band["id"]}
    assert "band: it is not complete" in post(client, "/api/studies", body).json()["error"]
    folder.mkdir()
    row = {"moment": "cold", "unit": "mrad", "standard_deviation": 0.5,
           "standard_deviation_afresh": 0.3}  # fmt: skip
    sides = [{**row, "column": f"pointer_{side}_mrad"} for side in ("up", "right")]
    (folder / "band.json").write_text(json.dumps({"readings": sides}))
    job = post(client, "/api/studies", body).json()
    told = json.loads(bench.queue.store.jobs[job["id"]].options)
    assert told["band"] == str(folder.resolve())
    assert post(client, "/api/studies", {**body, "band": "../x"}).status_code != 200


def test_a_reading_counts_the_band_of_its_plan(page):
    """The form offers bands that are done, that of the plan chosen beforehand."""
    client, bench = page
    store = bench.queue.store
    band, other = (
        post(client, "/api/studies", {"kind": "band", "tables": tee()}).json() for _ in range(2)
    )
    for job in (band, other):
        store.put(replace(store.jobs[job["id"]], state="done"))
    plan = store.add(
        "plan", "a plan", tomli_w.dumps(tee()), "me",
        options=json.dumps({"band": str(store.run_folder(store.jobs[band["id"]]).resolve())}),
    )  # fmt: skip
    folder = store.run_folder(plan)
    folder.mkdir()
    record = {"case": tomli_w.dumps(tee()), "title": "a plan", "rows": []}
    (folder / "plan.json").write_text(json.dumps(record))
    found = client.get(f"/api/studies/{plan.id}/words").json()
    assert found["ok"] and found["band"] == band["id"]
    assert [b["id"] for b in found["bands"]] == [other["id"], band["id"]]
