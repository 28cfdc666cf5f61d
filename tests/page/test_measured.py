"""Measurements brought to the page: what is taken in, shown, fitted and kept. Data are invented."""

import json
import shutil
from importlib.resources import files

import pytest
import tomli_w

from tests.page.kit import OWN, client_of, post, queue_of, starter, wait_for
from tests.page.stand_ins import answering
from tests.synthetic_run import write_run
from weldsim.case.load import parse_case
from weldsim.page import (
    experiments,
    films,
    measured_store,
    measured_tasks,
    routes_measured,
    security,
)
from weldsim.page.runs import id_of

BYTES = {**OWN, "content-type": security.FILE_TYPE}
TABLE = "time_s,pointer_up_mm,pointer_right_mm\n0,0,0\n20,1.5,-2\n900,4.5,-9\n"


def bring(client, text, name="bar of monday.csv", kind="table"):
    return client.post(f"/api/measured/{kind}", params={"name": name}, content=text, headers=BYTES)


@pytest.fixture(scope="module")
def bench_run(tmp_path_factory):
    """A run of the starter bar whose readings are invented."""
    folder = tmp_path_factory.mktemp("run") / "bench run"
    write_run(folder, frames=())
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text()
    case = {"source": text, "source_file": "bar.toml", "overrides": []}
    (folder / "case.json").write_text(json.dumps(case))
    return folder


@pytest.fixture
def page(tmp_path, bench_run):
    client, bench = client_of(tmp_path, queue=queue_of(tmp_path, study_target=answering))
    shutil.copytree(bench_run, tmp_path / "bench run")
    return client, bench, id_of(tmp_path / "bench run")


# ------------------------------------------------------------------------ taken in
def test_a_table_is_taken_in_and_shown_over_the_run(page):
    client, _, run = page
    found = bring(client, TABLE).json()
    assert found["name"] == "bar of monday.csv" and found["read"] and found["mine"]
    beside = post(client, f"/api/measured/{found['id']}/curves", {"of": run}).json()
    assert beside["ok"] and [c["name"] for c in beside["curves"]] == [
        "pointer_up_mm", "pointer_right_mm"]  # fmt: skip
    up = beside["curves"][0]
    assert up["times"] == [0, 20, 900] and up["values"] == [0, 1.5, 4.5]
    assert len(up["computed"]["times"]) == len(up["computed"]["values"]) > 10
    assert beside["arcs"][0][0] == 0.0 and len(beside["arcs"]) == 2
    listed = client.get("/api/measured").json()["measured"]
    assert [m["id"] for m in listed] == [found["id"]]


def test_inches_and_names_of_the_bench_are_mapped(page):
    """1 in = 25.4 mm exactly (international yard of 1959)."""
    client, _, run = page
    id = bring(client, "minutes,spot\n0,0\n2,0.5\n").json()["id"]
    refused = post(client, f"/api/measured/{id}/curves", {"of": run}).json()
    assert not refused["ok"] and refused["headers"] == ["minutes", "spot"]
    assert "\n" not in refused["messages"][0] and "bar of monday.csv" in refused["messages"][0]
    assert "pointer_up_mm" in [c["name"] for c in refused["columns"]]
    id = bring(client, "time_min,spot\n0,0\n2,0.5\n").json()["id"]
    rules = {"map": {"spot": "pointer_up_mm"}, "unit": {"spot": "in"}}
    found = post(client, f"/api/measured/{id}/curves", {"of": run, "rules": rules}).json()
    curve = found["curves"][0]
    assert found["left_out"] == []
    assert curve["times"] == [0, 120] and curve["values"] == pytest.approx([0, 12.7])


def test_a_column_of_the_bench_can_be_left_out(page):
    client, _, run = page
    id = bring(client, "time_s,pointer_up_mm,who\n0,0,ann\n5,1,bob\n").json()["id"]
    assert not post(client, f"/api/measured/{id}/curves", {"of": run}).json()["ok"]
    body = {"of": run, "rules": {"unused": ["who"]}}
    found = post(client, f"/api/measured/{id}/curves", body).json()
    assert found["ok"] and found["left_out"] == ["column who"] and len(found["curves"]) == 1


@pytest.mark.parametrize(
    "text, word",
    [("", "nothing in it"), ("\x00\x01\x02", "control"), ("time_s,roof_mm\n0,1\n", "roof_mm"),
     ("time_s,pointer_up_mm\n5,1\n2,1\n", "time"),
     ("time_s,pointer_up_mm\n0,\n1,\n", "no reading"),
     ("time_s,pointer_up_kg\n0,1\n", "kg")],
)  # fmt: skip
def test_what_cannot_be_used_is_said_in_one_line(page, text, word):
    client, _, run = page
    came = bring(client, text)
    if came.status_code != 200:
        assert word in came.json()["error"]
        return
    found = post(client, f"/api/measured/{came.json()['id']}/curves", {"of": run}).json()
    assert not found["ok"] and len(found["messages"]) == 1
    assert word in found["messages"][0]
    assert "/measured/" not in found["messages"][0]  # no path of this machine


# ---------------------------------------------------------------------- what is kept out
@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "..\\x.csv", "a/b.csv", "\x00", "x" * 400, "é"]
)
def test_a_name_is_a_label_and_no_path(page, tmp_path, name):
    client, bench, _ = page
    id = bring(client, TABLE, name).json()["id"]
    path = bench.measured.table(id)
    assert path.parent == tmp_path / "measured" / id and path.read_text() == TABLE
    assert sorted(p.name for p in path.parent.iterdir()) == ["about.json", path.name]


def test_files_come_from_the_page_alone(page):
    client, _, _ = page
    path = "/api/measured/table"
    plain = {k: v for k, v in BYTES.items() if k != "x-weldsim"}
    assert client.post(path, content=TABLE, headers=plain).status_code == 403
    for kind in ("text/plain", "multipart/form-data", "application/json"):
        headers = {**BYTES, "content-type": kind}
        assert client.post(path, content=TABLE, headers=headers).status_code == 415
    elsewhere = {**BYTES, "origin": "http://elsewhere.test"}
    assert client.post(path, content=TABLE, headers=elsewhere).status_code == 403
    # and nowhere else may anything but JSON come in
    assert client.post("/api/open", content="{}", headers=BYTES).status_code == 415


def test_what_is_too_large_is_cut_off_and_leaves_nothing(page, tmp_path, monkeypatch):
    client, bench, _ = page
    monkeypatch.setitem(security.UPLOADS, "/api/measured/table", 10_000)
    assert bring(client, "x" * 10_001).status_code == 413

    def pieces():  # no length said beforehand
        for _ in range(20):
            yield b"y" * 1000

    try:
        assert bring(client, pieces()).status_code == 413
    except Exception as error:  # the connection is dropped
        assert "disconnect" in type(error).__name__.lower()
    assert bench.measured.listed() == []
    assert not [p for p in (tmp_path / "measured").glob("*") if p.is_dir()]
    assert bring(client, TABLE).status_code == 200  # and its place is free again


def test_no_more_is_kept_than_the_folder_should_hold(page, monkeypatch):
    client, _, _ = page
    monkeypatch.setattr(measured_store, "MOST_KEPT", 1)
    id = bring(client, TABLE).json()["id"]
    assert bring(client, TABLE).status_code == 409
    assert post(client, f"/api/measured/{id}/forget", {}).status_code == 200
    assert bring(client, TABLE).status_code == 200
    for wrong in ("0" * 16, "..%2f..", "x"):
        assert post(client, f"/api/measured/{wrong}/forget", {}).status_code == 404


# ----------------------------------------------------------------------------- films
@pytest.mark.parametrize(
    "body, word",
    [({"marks": "A9"}, "A9"), ({"marks": "1 mm x 1 mm"}, "20 mm"), ({"gauge": "roof"}, "roof"),
     ({"rate": 1e6}, "60"), ({"marks": None}, "marks")],
)  # fmt: skip
def test_a_film_is_read_with_sound_choices(page, body, word):
    client, _, run = page
    id = bring(client, b"no film", "bead A.mp4", "clip").json()["id"]
    whole = {"of": run, "marks": "A4", "gauge": "pointer"}
    found = post(client, f"/api/measured/{id}/read", {**whole, **body})
    assert found.status_code == 404 and word in found.json()["error"]


def test_a_film_becomes_a_table_beside_the_queue(page, monkeypatch):
    client, bench, run = page
    came = bring(client, b"a film", "bead A.mp4", "clip").json()
    assert not came["read"]
    assert post(client, f"/api/measured/{came['id']}/curves", {"of": run}).status_code == 404

    class Reader:
        def call(self, task, path, name, out, gauge, options, **more):
            assert (options["across"], options["up"]) == (0.3, 0.2) and gauge == "pointer"
            more["tell"](0.5, "reading the film")
            open(out, "w").write(TABLE)
            return {"words": ["2 of 2 frames used"], "gauge": gauge, "rest": [4.5, -9.0, 0.2]}

    monkeypatch.setattr(bench, "films", films.Films(bench.measured, Reader()))
    body = {"of": run, "marks": "300 mm x 200 mm", "gauge": "pointer"}
    assert post(client, f"/api/measured/{came['id']}/read", body).status_code == 200
    found = wait_for(lambda: (m := client.get(f"/api/measured/{came['id']}").json())["read"] and m)
    assert found["words"] == ["2 of 2 frames used"]
    beside = post(client, f"/api/measured/{came['id']}/curves", {"of": run}).json()
    assert beside["ok"] and len(beside["curves"]) == 2
    # and "I measured ..." of a run or a plan takes it as a reading
    listed = client.get("/api/measured").json()["measured"][0]
    assert (listed["gauge"], listed["rest"]) == ("pointer", [4.5, -9.0, 0.2])


def test_a_film_is_read_for_a_plan_as_well(page, tmp_path):
    """A plan has no run: its own case says which pointers there are."""
    client, bench, _ = page
    folder = tmp_path / "a plan"
    folder.mkdir()
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text()
    record = {"case": text, "source_file": "bar.toml", "overrides": [], "rows": []}
    (folder / "plan.json").write_text(json.dumps(record))
    assert measured_tasks.pointers(str(folder)) == ["pointer"]


def test_the_target_sheet_is_printed_from_the_page(page):
    client, _, run = page
    found = client.get(f"/api/target/A4?of={run}")
    assert found.headers["content-type"] == "application/pdf" and found.content[:5] == b"%PDF-"
    assert client.get("/api/target/A9").status_code != 200
    inches = client.get(f"/api/target/A4?of={run}&units=us")
    assert inches.content.startswith(b"%PDF") and inches.content != found.content
    assert client.get("/api/target/A4?units=ell").status_code != 200


def test_a_film_read_by_an_older_page_is_still_there(page, tmp_path):
    client, bench, _ = page
    id = bring(client, b"a film", "bead A.mp4", "clip").json()["id"]
    path = tmp_path / "measured" / id / "about.json"
    told = json.loads(path.read_text())
    path.write_text(json.dumps({k: v for k, v in told.items() if k not in ("gauge", "rest")}))
    assert [m["rest"] for m in client.get("/api/measured").json()["measured"]] == [[]]


def test_what_is_no_film_is_said_so(page):
    client, bench, run = page
    id = bring(client, b"not a film at all", "bead A.mp4", "clip").json()["id"]

    class Here(films.Worker):
        def call(self, task, *args, **more):
            return task(*args)

    bench.films = films.Films(bench.measured, Here())
    body = {"of": run, "marks": "A4", "gauge": "pointer"}
    pytest.importorskip("av")
    assert post(client, f"/api/measured/{id}/read", body).status_code == 200
    found = wait_for(
        lambda: (m := client.get(f"/api/measured/{id}").json())["reading"]["over"] and m
    )
    assert not found["read"] and found["reading"]["error"].startswith("bead A.mp4")


@pytest.mark.parametrize("text, size", [("A4", (0.16, 0.24)), ("12 in by 8 in", (0.3048, 0.2032))])
def test_marks_in_words(text, size):
    """A4: ISO 216 paper with marks 25 and 28.5 mm off its edges; 1 in = 25.4 mm."""
    assert routes_measured.marks_of(text) == pytest.approx(size)


# ------------------------------------------------------------------------------ a fit
def fit_body(client, run, **more):
    id = bring(client, TABLE).json()["id"]
    return {"kind": "fit", "of": run, "measured": [{"id": id}],
            "vary": {"arc.efficiency": ["0.5", "0.95"]}, **more}  # fmt: skip


def test_what_may_vary_is_offered_with_its_source(page):
    client, _, run = page
    found = client.get(f"/api/measured/of/{run}").json()
    offered = {o["key"]: o for o in found["vary"]}
    assert found["pointers"] == ["pointer"]
    assert {"arc.efficiency", "clamping.conductance"} <= set(offered)
    hot = offered["metal.softening_temperature"]  # 1175 degC are 2147 degF
    assert (hot["usual"], hot["usual_us"]) == ("1175 °C", "2147 °F")
    assert offered["arc.efficiency"]["chosen"] and all(o["source"] for o in found["vary"])


def test_a_fit_is_a_job_of_the_queue(page):
    client, bench, run = page
    job = post(client, "/api/studies", fit_body(client, run, grade="coarse", clock="10 s")).json()
    assert job["kind"] == "fit" and job["parent"] == run and "arc efficiency" in job["change"]
    bench.queue.start()
    try:
        wait_for(lambda: client.get(f"/api/jobs/{job['id']}").json()["state"] == "done", 60.0)
    finally:
        bench.queue.close(1.0)
    found = client.get(f"/api/studies/{job['id']}").json()
    assert found["answer"]["kind"] == "fit" and "arc.efficiency" in found["answer"]["words"][0]
    assert client.get(f"/api/studies/{run}").json()["about"][0]["id"] == job["id"]


@pytest.mark.parametrize(
    "more, word",
    [({"vary": {}}, "vary"), ({"vary": {"arc.efficiency": ["0.9", "0.5"]}}, "below"),
     ({"vary": {"arc.colour": ["0.1", "0.5"]}}, "colour"), ({"measured": []}, "measured"),
     ({"measured": [{"id": "../../x"}]}, "no such measurement"), ({"grade": "gold"}, "gold"),
     ({"vary": {"shop.file": ["a", "b"]}}, "shop.file"), ({"clock": "2 h"}, "clock"),
     ({"design": 1}, "design"), ({"hold_back": "roof"}, "roof"),
     ({"vary": {"clamping.conductance": ["50 W/m2/K", "5 kg"]}}, "kg")],
)  # fmt: skip
def test_a_fit_that_cannot_be_made_is_refused_in_one_line(page, more, word):
    client, bench, run = page
    found = post(client, "/api/studies", fit_body(client, run, **more))
    assert found.status_code == 409 and word in found.json()["error"]
    assert "\n" not in found.json()["error"] and not bench.queue.store.jobs


def test_tables_of_two_runs_are_fitted_together(page, bench_run, tmp_path):
    """What `weldsim fit CASE --measured A --with CASE2 --measured B` does: a run for each case."""
    client, bench, run = page
    shutil.copytree(bench_run, tmp_path / "other run")
    path = tmp_path / "other run" / "case.json"
    told = json.loads(path.read_text())
    told["source"] = told["source"].replace('title = "My bar"', 'title = "Mast stub"')
    path.write_text(json.dumps(told))
    other = id_of(tmp_path / "other run")
    body = fit_body(client, run, grade="sketch")
    second = {"id": bring(client, TABLE, "tuesday.csv").json()["id"], "of": other}
    alone = post(client, "/api/measured/cost", body).json()
    body["measured"].append(second)
    both = post(client, "/api/measured/cost", body).json()
    assert both["runs"] == 2 * alone["runs"] and "each of 2 cases" in both["note"]
    assert both["seconds"] == pytest.approx(2 * alone["seconds"], rel=0.05)
    job = post(client, "/api/studies", body).json()
    asked = json.loads(bench.queue.store.jobs[job["id"]].options)
    found = experiments.experiments_of(asked)
    assert [e.case.title for e in found] == ["My bar", "Mast stub"]
    assert [len(e.measurements) for e in found] == [1, 1]
    body["measured"] = [second]
    refused = post(client, "/api/studies", body)
    assert refused.status_code == 409 and "no table belongs to the run" in refused.json()["error"]
    body["measured"] = [{**second, "of": "../../x"}]
    assert "no such run" in post(client, "/api/studies", body).json()["error"]


def test_a_fit_costs_its_runs(page):
    """Six runs an unknown, twelve at least, three where it lands; a grade finer one in the middle,
    one an unknown, and two where it lands."""
    client, _, run = page
    body = fit_body(client, run, grade="sketch")
    one = post(client, "/api/measured/cost", body).json()
    assert one["runs"] == 15 and one["seconds"] > 0 and "up to 4 at grade coarse" in one["note"]
    more = post(client, "/api/measured/cost", {**body, "design": 30, "finer": "none"}).json()
    assert more["runs"] == 33


# ------------------------------------------------------------------------- kept shops
SHOP = 'format = 1\n[values]\n"arc.efficiency" = 0.61\n[provenance]\ndraws = "draws.csv"\n'


def test_a_shop_is_kept_and_a_case_of_the_page_names_it(page, tmp_path):
    client, bench, run = page
    fitted = tmp_path / "bench run"
    (fitted / "shop.toml").write_text(SHOP)
    (fitted / "draws.csv").write_text("arc.efficiency [1]\n0.6\n")
    kept = post(client, "/api/shops", {"of": run, "name": "Bay 2"}).json()
    assert kept["file"] == "shops/bay-2/shop.toml" and kept["values"] == {"arc.efficiency": "0.61"}
    assert (tmp_path / "shops" / "bay-2" / "draws.csv").is_file()
    again = post(client, "/api/shops", {"of": run, "name": "bay 2"})
    assert again.status_code == 409 and "there already" in again.json()["error"]
    assert (
        post(client, "/api/shops", {"of": run, "name": "bay 2", "again": True}).status_code == 200
    )

    tables = {**starter(), "shop": {"file": kept["file"]}}
    assert post(client, "/api/check", {"tables": tables}).json()["ok"]
    saved = post(client, "/api/case", {"tables": tables}).json()["text"]
    assert 'file = "shops/bay-2/shop.toml"' in saved
    job = post(client, "/api/jobs", {"kind": "run", "tables": tables}).json()
    store = bench.queue.store
    text = store.case_text(store.jobs[job["id"]])
    case = parse_case(text, str(store.case_file(store.jobs[job["id"]])))
    assert {w.arc.efficiency for w in case.welds} == {0.61}
    back = client.get(f"/api/runs/{job['id']}/case").json()
    assert back["tables"]["shop"]["file"] == kept["file"] and back["base"] is None


@pytest.mark.parametrize(
    "file", ["/etc/passwd", "shops/../x/shop.toml", "shop.toml", "shops/a/b.toml"]
)
def test_a_case_of_the_page_names_no_other_file(page, file):
    client, bench, _ = page
    tables = {**starter(), "shop": {"file": file}}
    found = post(client, "/api/check", {"tables": tables}).json()
    assert not found["ok"] and "names no files" in found["messages"][0]["text"]
    assert post(client, "/api/jobs", {"kind": "run", "tables": tables}).status_code == 409


@pytest.mark.parametrize("name", ["", "../x", "a/b", "x" * 41, None, "é"])
def test_a_shop_has_a_plain_name(page, name):
    client, _, run = page
    assert post(client, "/api/shops", {"of": run, "name": name}).status_code == 409


def test_a_case_file_keeps_a_shop_of_its_own(page, tmp_path):
    """A case of the work folder may name a file beside it; the page leaves that as it is."""
    client, _, _ = page
    (tmp_path / "own_shop.toml").write_text(SHOP)
    tables = {**starter(), "shop": {"file": "own_shop.toml"}}
    (tmp_path / "mine.toml").write_text(tomli_w.dumps(tables))
    id = client.get("/api/shelf").json()["cases"][0]["id"]
    assert post(client, "/api/check", {"tables": tables, "base": id}).json()["ok"]
