"""What the page answers, and whom it lets in. No process is started; a table stands for helpers."""

import json
import re
import tomllib
from dataclasses import replace
from importlib.resources import files

import pytest
import tomli_w
from starlette.testclient import TestClient

from tests.page.kit import HERE, OWN, PORT, client_of, post, starter
from tests.places import CASES
from tests.synthetic_run import write_run
from weldsim.errors import WeldsimError
from weldsim.page import app as page_app
from weldsim.page.routes_static import static_names
from weldsim.page.runs import id_of
from weldsim.page.security import MOST_BYTES, Door, new_key, same

KEY = new_key()


@pytest.fixture
def client(tmp_path):
    return client_of(tmp_path)[0]


# ------------------------------------------------------------------------- what it answers
def test_all_static_files_are_there_and_stay_here(client):
    """The page works without a network: nothing it loads lies elsewhere."""
    for name in static_names():
        answer = client.get("/" if name == "index.html" else f"/static/{name}")
        assert answer.status_code == 200
        assert not re.search(r"https?://(?!www\.w3\.org)", answer.text), name
    for name in [*client.get("/api/begin").json()["scripts"], "viewer.css"]:
        assert client.get(f"/view/{name}").status_code == 200


def test_forms_and_checks(client):
    form = client.get("/api/form/bar").json()
    good = post(client, "/api/check", {"tables": form["tables"]}).json()
    assert good["ok"] and [w["name"] for w in good["order"]] == ["A", "B"]
    # EN 1011-1: Q = k U I / v = 0.6 * 12.5 V * 200 A / 1.1 mm/s
    assert good["order"][0]["heat_input"] == pytest.approx(0.6 * 12.5 * 200 / 1.1 / 1000)
    form["tables"]["weld"][1]["at"] = "2 m"
    bad = post(client, "/api/check", {"tables": form["tables"]}).json()
    assert not bad["ok"] and {m["key"] for m in bad["messages"]} >= {"at"}


def test_an_arc_that_is_hardly_meant_is_asked_about(client):
    """5000 A is far from any TIG arc (the bands name their source in schema/bands.py)."""
    tables = starter("square-tube-tee")
    assert post(client, "/api/check", {"tables": tables}).json()["doubts"] == []
    tables["arc"]["current"] = "5000 A"
    found = post(client, "/api/check", {"tables": tables}).json()
    assert found["ok"] and any("melt the part" in text for text in found["doubts"])


def test_joints_say_their_seams_and_opposite_directions(client):
    found = post(client, "/api/check", {"tables": starter("square-tube-tee")}).json()
    seams = {s["name"]: s for s in found["seams"]}
    assert set(seams) == {"front", "back", "left", "right"}
    assert (
        seams["front"]["directions"]["+x"] == "-x"
        and seams["left"]["directions"]["uphill"] == "downhill"
    )


def test_a_bead_has_the_travels_that_its_section_takes(client):
    """Across the bar up and down, along it +x and -x: no word that the case would refuse."""
    tables = starter()
    tables["weld"][1] |= {"line": "along", "travel": "+x", "face": "back"}
    tables["weld"][1].pop("at")
    found = post(client, "/api/check", {"tables": tables}).json()
    assert found["ok"], found
    assert found["travels"] == {"A": {"up": "down", "down": "up"}, "B": {"+x": "-x", "-x": "+x"}}


def test_words_come_without_the_cautions_that_stand_beside(client):
    found = post(client, "/api/words", {"tables": starter()}).json()
    assert found["lines"] == ["Part: a bar.", "Expect about 5 s and 300 MB."]
    assert found["cost"].startswith("Expect about 5 s")
    assert any("licensed engineer" in c for c in client.get("/api/begin").json()["cautions"])


def test_a_case_is_saved_and_opened_again(client):
    text = post(client, "/api/case", {"tables": starter("plate-tee")}).json()["text"]
    opened = post(client, "/api/open", {"text": text}).json()
    assert opened["kind"] == "plate-tee" and opened["tables"] == starter("plate-tee")
    refused = post(client, "/api/open", {"text": "title = 1 = 2"})
    assert refused.status_code == 409 and "TOML" in refused.json()["error"]


def test_runs_of_the_work_folder_are_listed_and_shown(tmp_path):
    write_run(tmp_path / "older run")
    client, _ = client_of(tmp_path)
    (run,) = client.get("/api/shelf").json()["runs"]
    shown = client.get(f"/api/runs/{run['id']}").json()
    assert shown["words"] and shown["readings"]
    scene = client.get(f"/api/runs/{run['id']}/scene")
    assert len(scene.json()["times"]) > 2
    again = client.get(
        f"/api/runs/{run['id']}/scene", headers={"if-none-match": scene.headers["etag"]}
    )
    assert again.status_code == 304
    gauges = client.get(f"/api/runs/{run['id']}/file/gauges")
    assert (
        gauges.text.startswith("time_s") and "attachment" in gauges.headers["content-disposition"]
    )
    assert client.get(f"/api/runs/{run['id']}/file/report").status_code == 404


def test_a_run_under_way_is_listed_as_the_job_that_it_is(tmp_path):
    client, bench = client_of(tmp_path)
    id = post(client, "/api/jobs", {"tables": starter(), "kind": "run"}).json()["id"]
    job = bench.queue.store.jobs[id]
    write_run(tmp_path / job.run, "running", ())
    write_run(tmp_path / "by hand", "stopped", ())
    for state, status, words in (
        ("running", "running", "still under way"), ("waiting", "waiting", "waiting in the queue"),
        ("stopped", "running", "stopped"),
    ):  # fmt: skip
        bench.queue.store.jobs[id] = replace(job, state=state)
        listed = {r["name"]: r for r in client.get("/api/shelf").json()["runs"]}
        assert (listed[job.run]["id"], listed[job.run]["status"]) == (id, status)
        assert listed["by hand"]["id"] == id_of(tmp_path / "by hand")
        first = client.get(f"/api/runs/{id}").json()["words"][0]
        assert first.startswith(f"This run is {words};") and "resume" not in first
        other = client.get(f"/api/runs/{id_of(tmp_path / job.run)}").json()["words"][0]
        assert other == first  # an address from before
    by_hand = client.get(f"/api/runs/{listed['by hand']['id']}").json()["words"][0]
    assert "weldsim run --resume" in by_hand
    bench.queue.remove(id)
    names = {r["name"]: r["id"] for r in client.get("/api/shelf").json()["runs"]}
    assert names[job.run] == id_of(tmp_path / job.run)


@pytest.mark.slow
def test_the_curves_of_a_metal_are_drawn_and_told(tmp_path):
    """In both units; a file of the user's own through the case that names it, and no other file."""
    client, _ = client_of(tmp_path)
    found = client.get("/api/material/numbers?name=carbon-steel").json()
    assert "Sources" in found["text"] and "W/m/K" in found["text"]
    told = client.get("/api/material/numbers?name=carbon-steel&units=us").json()["text"]
    assert "Btu/h/ft" in told
    drawn = client.get("/api/material/picture?name=carbon-steel&units=us")
    assert drawn.headers["content-type"] == "image/svg+xml" and b"<svg" in drawn.content
    for wrong in ("name=unobtainium", "name=/etc/passwd", "name=carbon-steel&units=old", ""):
        assert client.get(f"/api/material/numbers?{wrong}").status_code != 200


def test_case_files_are_listed_by_title_newest_first(tmp_path):
    import os

    client, _ = client_of(tmp_path)
    for age, name in enumerate(("new", "old")):
        path = tmp_path / f"{name}.toml"
        path.write_text(f'title = "The {name} one"\n[part]\nkind = "bar"\n')
        os.utime(path, (1e9 - age, 1e9 - age))
    (tmp_path / "damaged.toml").write_text("[part")
    os.utime(tmp_path / "damaged.toml", (1e8, 1e8))
    cases = client.get("/api/shelf").json()["cases"]
    assert [c["title"] for c in cases] == ["The new one", "The old one", "damaged"]
    assert cases[0]["joint"] == "flat bar" and cases[2]["joint"] == "other parts"


def test_case_files_of_the_work_folder_open(tmp_path):
    client, bench = client_of(tmp_path)
    text = post(client, "/api/case", {"tables": starter()}).json()["text"]
    (bench.work / "shop.toml").write_text(text)
    (case,) = client.get("/api/shelf").json()["cases"]
    assert client.get(f"/api/open/{case['id']}").json()["base"] == case["id"]


def test_cases_that_come_with_weldsim_open_and_lessons_are_named(client):
    found = client.get("/api/shelf").json()
    assert {c["name"] for c in found["examples"]} == {p.name for p in CASES.glob("*.toml")}
    assert len(found["lessons"]) >= 5 and all(ls["title"] for ls in found["lessons"])
    for case in found["examples"]:
        opened = client.get(f"/api/open/{case['id']}").json()
        checked = post(client, "/api/check", {"tables": opened["tables"], "base": opened["base"]})
        assert checked.json()["ok"], case["name"]  # files beside them are found


def test_a_run_with_changes_of_the_command_line_comes_back_as_it_was_run(tmp_path):
    client, bench = client_of(tmp_path)
    text = "# a note\n" + post(client, "/api/case", {"tables": starter()}).json()["text"]
    changes = ['weld.A.current="120 A"', "title=Cooler", "solve.grade=fine"]
    found = {}
    for name, overrides in (("as written", []), ("changed", changes)):
        write_run(tmp_path / name, frames=())
        kept = {"source": text, "source_file": "x.toml", "overrides": overrides}
        (tmp_path / name / "case.json").write_text(json.dumps(kept))
        id = id_of(tmp_path / name)
        found[name] = client.get(f"/api/runs/{id}/case").json()["tables"]
        saved = client.get(f"/api/runs/{id}/file/case").text
        assert tomllib.loads(saved) == found[name] and (saved == text) == (not overrides)
    assert found["as written"] == starter() and found["changed"]["title"] == "Cooler"
    assert found["changed"]["weld"][0]["current"] == "120 A"
    assert found["changed"]["weld"][1] == starter()["weld"][1]
    assert found["changed"]["solve"]["grade"] == "fine"
    kept["overrides"] = ["weld.Z.current=1 A"]
    (tmp_path / "changed" / "case.json").write_text(json.dumps(kept))
    assert "no weld is named Z" in client.get(f"/api/runs/{id}/case").json()["error"]


@pytest.fixture
def with_file(tmp_path):
    """A client of a page whose work folder holds a case with a material of its own."""
    client, bench = client_of(tmp_path)
    material = files("weldsim") / "data" / "materials" / "carbon-steel.toml"
    (tmp_path / "my.toml").write_text(material.read_text(encoding="utf-8"), encoding="utf-8")
    tables = starter()
    tables["part"]["material"] = "my.toml"
    (tmp_path / "shop.toml").write_text(tomli_w.dumps(tables))
    return client, tmp_path, id_of(tmp_path / "shop.toml")


def test_a_case_that_names_files_can_be_changed_after_its_run(with_file):
    client, work, shop = with_file
    opened = client.get(f"/api/open/{shop}").json()
    for _ in range(2):  # what came of what came of it, too
        assert post(client, "/api/check", opened).json()["ok"]
        job = post(client, "/api/jobs", {**opened, "kind": "look"}).json()
        print(job)
        opened = client.get(f"/api/runs/{job['id']}/case").json()
        assert opened["tables"]["part"]["material"] == str(work / "my.toml")
        assert opened["base"] == job["id"]
    write_run(work / "by hand", frames=())
    kept = {"source": (work / "shop.toml").read_text(), "source_file": str(work / "shop.toml"),
            "overrides": []}  # fmt: skip
    (work / "by hand" / "case.json").write_text(json.dumps(kept))
    opened = client.get(f"/api/runs/{id_of(work / 'by hand')}/case").json()
    assert opened["tables"]["part"]["material"] == "my.toml"
    assert post(client, "/api/check", opened).json()["ok"]
    job = post(client, "/api/jobs", {**opened, "kind": "run"}).json()
    opened = client.get(f"/api/runs/{job['id']}/case").json()
    assert opened["tables"]["part"]["material"] == str(work / "my.toml")


def test_a_draft_outlives_the_job_it_began_from(with_file):
    """The look is taken off the list while its case is being changed."""
    client, work, shop = with_file
    job = post(client, "/api/jobs", {**client.get(f"/api/open/{shop}").json(), "kind": "look"})
    opened = client.get(f"/api/runs/{job.json()['id']}/case").json()
    for what in ("stop", "forget"):
        assert post(client, f"/api/jobs/{opened['base']}/{what}", {}).status_code == 200
    assert post(client, "/api/check", opened).json()["ok"]


def test_no_base_lets_a_request_name_another_file(with_file):
    client, work, shop = with_file
    (work / "other.toml").write_text((work / "my.toml").read_text())
    mine = client.get(f"/api/open/{shop}").json()
    named = post(client, "/api/jobs", {**mine, "kind": "look"}).json()["id"]
    plain = post(client, "/api/jobs", {"tables": starter(), "kind": "look"}).json()["id"]
    assert client.get(f"/api/runs/{plain}/case").json()["base"] is None
    tables = client.get(f"/api/runs/{named}/case").json()["tables"]
    for base, material, good in (
        (named, str(work / "my.toml"), True), (named, "my.toml", False),
        (named, str(work / "other.toml"), False), (named, f"{work}/./my.toml", False),
        (plain, str(work / "my.toml"), False), (None, str(work / "my.toml"), False),
        (shop, str(work / "my.toml"), False), (shop, "my.toml", True),
    ):  # fmt: skip
        tables["part"]["material"] = material
        found = post(client, "/api/check", {"tables": tables, "base": base}).json()
        assert found["ok"] == good, (base, material)
        if not good:
            assert "not allowed here" in found["messages"][0]["text"]
    answer = post(client, "/api/check", {"tables": tables, "base": "0" * 16})
    assert answer.status_code == 409 and "no longer" in answer.json()["error"]


def test_a_job_needs_a_good_case_and_a_size_the_page_takes_on(tmp_path):
    client, bench = client_of(tmp_path)
    bad = starter()
    bad["weld"][0]["speed"] = "fast"
    answer = post(client, "/api/jobs", {"tables": bad, "kind": "run"})
    assert answer.status_code == 409 and answer.json()["messages"][0]["key"] == "speed"
    assert post(client, "/api/jobs", {"tables": starter(), "kind": "nap"}).status_code == 409
    good = post(client, "/api/jobs", {"tables": starter(), "kind": "run"}).json()
    assert good["state"] == "waiting" and good["mine"]
    large = {"price": {"unknowns": 10**6, "seconds": 1e6}}
    (tmp_path / "b").mkdir()
    other, _ = client_of(tmp_path / "b", answers=large)
    answer = post(other, "/api/jobs", {"tables": starter(), "kind": "run"})
    assert answer.status_code == 409 and "coarser grade" in answer.json()["error"]


# ------------------------------------------------------------------------- whom it lets in
@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        f"evil.example:{PORT}",
        "127.0.0.1",
        "127.0.0.1:1",
        f"127.0.0.1.nip.io:{PORT}",
        "",
    ],
)
def test_a_foreign_host_is_refused(client, host):
    """DNS rebinding: another site's name that leads here must not open the page."""
    assert client.get("/", headers={"host": host}).status_code == 421
    assert client.get("/api/begin", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", [f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"[::1]:{PORT}"])
def test_this_machine_is_let_in(client, host):
    assert client.get("/api/begin", headers={"host": host}).status_code == 200


def test_requests_forged_by_other_sites_are_refused(client):
    body = json.dumps({"tables": starter()})
    for headers, status in (
        ({**OWN, "origin": "http://evil.example"}, 403),
        ({**OWN, "origin": "null"}, 403),
        ({**OWN, "origin": f"https://127.0.0.1:{PORT}"}, 403),
        ({**OWN, "sec-fetch-site": "cross-site"}, 403),
        ({**OWN, "sec-fetch-site": "same-site"}, 403),
        ({"content-type": "application/json"}, 403),
        ({**OWN, "content-type": "text/plain"}, 415),
        ({**OWN, "content-type": "application/x-www-form-urlencoded"}, 415),
        ({**OWN, "origin": HERE, "sec-fetch-site": "same-origin"}, 200),
    ):
        assert client.post("/api/check", content=body, headers=headers).status_code == status, (
            headers
        )
    read = client.get("/api/jobs", headers={"sec-fetch-site": "cross-site"})
    assert read.status_code == 403
    assert "access-control-allow-origin" not in read.headers


def test_the_lan_needs_the_key(tmp_path):
    client, _ = client_of(tmp_path, KEY, ("127.0.0.1", "192.168.7.20"))
    for path in ("/", "/api/begin", "/api/jobs", "/static/page.js", "/?key=wrong", "/?key="):
        assert client.get(path).status_code == 403, path
    assert client.get("/api/begin?key=" + KEY).status_code == 403  # only the first page takes it
    first = client.get("/?key=" + KEY, headers={"host": f"192.168.7.20:{PORT}"})
    assert first.status_code == 303 and first.headers["location"] == "/"
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie and "samesite=strict" in cookie.lower()
    client.cookies.set("weldsim_key", KEY)
    assert client.get("/api/begin").status_code == 200
    assert client.get("/api/begin", headers={"host": f"10.0.0.9:{PORT}"}).status_code == 421


def test_keys_are_long_random_and_compared_whole(monkeypatch):
    assert len({new_key() for _ in range(50)}) == 50 and len(new_key()) >= 32
    called = []
    monkeypatch.setattr("weldsim.page.security.hmac.compare_digest",
                        lambda a, b: called.append((a, b)) or a == b)  # fmt: skip
    assert same("ab", "ab") and not same("ab", "äc") and len(called) == 2
    assert Door(("h",), 80).addresses == {"h:80", "h"}


def test_others_jobs_are_seen_but_not_stopped_in_the_lan(tmp_path):
    client, bench = client_of(tmp_path, KEY)
    client.cookies.set("weldsim_key", KEY)
    client.cookies.set("weldsim_me", "a" * 32)
    job = post(client, "/api/jobs", {"tables": starter(), "kind": "run"}).json()
    client.cookies.set("weldsim_me", "b" * 32)
    (seen,) = client.get("/api/jobs").json()["jobs"]
    assert not seen["mine"]
    for what in ("stop", "resume", "forget"):
        assert post(client, f"/api/jobs/{job['id']}/{what}", {}).status_code == 403
    client.cookies.set("weldsim_me", "a" * 32)
    assert post(client, f"/api/jobs/{job['id']}/stop", {}).json()["state"] == "stopped"


TRICKS = [
    "/static/..%2fapp.py", "/static/../app.py", "/static/%2e%2e/app.py", "/static/page.js%00",
    "/view/..%2f..%2fmaterials%2fcarbon-steel.toml", "/api/runs/..%2f..%2fetc", "/api/runs/..",
    "/api/runs/queue", "/api/runs/0000000000000000/file/report", "/api/form/..%2f..%2fpasswd",
    "/api/open/..%2fshop", "/api/jobs/..%2f..%2fx", "/api/runs/older%20run",
    "/api/runs/older%20run/file/..%2frun.json",
]  # fmt: skip


@pytest.fixture(scope="module")
def with_run(tmp_path_factory):
    """A client of a page whose work folder holds one run, and that run's id."""
    folder = tmp_path_factory.mktemp("work")
    write_run(folder / "older run")
    client, _ = client_of(folder)
    return client, client.get("/api/shelf").json()["runs"][0]["id"]


@pytest.mark.parametrize("path", TRICKS)
def test_no_request_reaches_a_path(with_run, path):
    client, _ = with_run
    answer = client.get(path)
    assert answer.status_code in (400, 404, 405, 409)
    assert "root:" not in answer.text and "def " not in answer.text


def test_links_out_of_the_work_folder_are_not_followed(tmp_path):
    work = tmp_path / "work"
    work.mkdir()
    write_run(tmp_path / "elsewhere")
    (work / "link").symlink_to(tmp_path / "elsewhere")
    client, _ = client_of(work)
    assert client.get("/api/shelf").json()["runs"] == []


def test_files_of_a_run_are_those_of_a_list(with_run):
    client, run = with_run
    for what in ("run.json", "state", "..%2f..", "case.json", "%2e%2e%2frun.json"):
        assert client.get(f"/api/runs/{run}/file/{what}").status_code == 404


def test_large_requests_are_cut_off(client):
    big = "x" * (MOST_BYTES + 1)
    assert client.post("/api/open", content=big, headers=OWN).status_code == 413

    def pieces():  # no length said beforehand
        for _ in range(MOST_BYTES // 10_000 + 2):
            yield b"y" * 10_000

    try:
        assert client.post("/api/open", content=pieces(), headers=OWN).status_code >= 400
    except Exception as error:  # the connection is dropped
        assert "disconnect" in type(error).__name__.lower()


BODIES = [
    "[]", "1", "{", "[" * 5000, '{"tables": 3}', '{"tables": {"part": []}}',
    '{"tables": {"part": {"kind": ["bar"]}}}', '{"text": "[[[["}',
    r'{"tables": {"title": "\ud800"}}', r'{"tables": {"\ud800": 1}}', r'{"change": "\ud800"}',
    r'{"text": "title = \"\ud800\"\n[part]\nkind=\"bar\""}',
    r'{"text": "x = nan\n[part]\nkind = \"bar\""}', r'{"text": "[part]\nkind = [\"bar\"]"}',
    r'{"text": "[part]\nkind = \"bar\"\nwidth = 1e999"}', '{"tables": {"x": NaN}}',
    '{"tables": {"part": {"kind": "bar", "width": 1e999}}}', '{"text": "x = 1%s"}' % ("0" * 5000),
    '{"tables": {"part": {"kind": "bar", "width": 1%s}}}' % ("0" * 400),
    '{"tables": {"part": {"kind": "plate-tee"}, "tack": [{"seam": "front", "at": ["x"]}]}}',
]  # fmt: skip


@pytest.mark.parametrize("body", BODIES)
def test_no_body_brings_the_page_down(client, body):
    for path in ("/api/check", "/api/jobs", "/api/open", "/api/case"):
        answer = client.post(path, content=body, headers=OWN)
        assert answer.status_code in (200, 400, 409), (path, answer.text)
        if answer.status_code == 200 and path == "/api/check":
            assert answer.json()["messages"]


ODD_LENGTHS = [
    "1 m^9^9^9^9", "1 m**9**9**9**9", "1 mm/0", "1 m*", "1 (mm", "1 mm)", "1 ((((((((m", "1 m^-",
    "mm", "1 m" + "*m" * 900, "1 m" + "^2" * 900, "1e999 mm", "nan mm", "1 m/(1/0)",
    "1 ()", "1 9^9^9 m",
]  # fmt: skip


@pytest.mark.parametrize("odd", ODD_LENGTHS, ids=lambda odd: odd[:20])
def test_odd_quantities_get_a_message_beside_their_field(client, odd):
    tables = starter()
    tables["part"]["length"] = odd
    checked = post(client, "/api/check", {"tables": tables})
    assert checked.status_code == 200
    places = [(m["section"], m["key"]) for m in checked.json()["messages"]]
    assert ("part", "length") in places
    assert post(client, "/api/jobs", {"tables": tables, "kind": "look"}).status_code == 409
    assert post(client, "/api/words", {"tables": tables}).status_code == 409


def test_a_case_that_takes_too_long_to_read_is_refused_in_words(tmp_path):
    def endless(*args, **more):
        raise WeldsimError("this part is too much for that: no answer in 5 s")

    client, bench = client_of(tmp_path)
    bench.reader.answers["check"] = endless
    checked = post(client, "/api/check", {"tables": starter()}).json()
    assert not checked["ok"] and "no answer in" in checked["messages"][0]["text"]
    assert post(client, "/api/shape", {"tables": starter()}).status_code == 409
    assert bench.worker.asked == []  # it goes no further


def test_cases_are_read_where_a_time_limit_can_end_it(tmp_path):
    client, bench = client_of(tmp_path)
    for path in ("check", "words", "shape", "jobs"):
        bench.reader.asked.clear()
        post(client, f"/api/{path}", {"tables": starter(), "kind": "look"})
        assert bench.reader.asked == ["check"]
    bench.reader.asked.clear()
    assert post(client, "/api/open", {"text": "title = 1 = 2"}).status_code == 409
    assert bench.reader.asked == ["tables_of"]


def test_comments_of_a_case_survive_an_edit(tmp_path):
    client, bench = client_of(tmp_path)
    written = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    written = "# as we weld it\n" + written
    line = next(line for line in written.splitlines() if line.startswith('length = "220 mm"'))
    (tmp_path / "shop.toml").write_text(written, encoding="utf-8")
    (case,) = client.get("/api/shelf").json()["cases"]
    from_folder = client.get(f"/api/open/{case['id']}").json()
    brought = post(client, "/api/open", {"text": written}).json()
    for opened in (from_folder, brought):
        opened["tables"]["part"]["length"] = "230 mm"
        expected = written.replace(line, line.replace("220", "230"))
        assert post(client, "/api/case", opened).json()["text"] == expected
        job = post(client, "/api/jobs", {**opened, "kind": "look"}).json()
        store = bench.queue.store
        assert store.case_text(store.jobs[job["id"]]) == expected
        again = client.get(f"/api/runs/{job['id']}/case").json()
        again["tables"]["title"] = "Another bar"
        text = post(client, "/api/case", again).json()["text"]
        assert text == expected.replace("My bar", "Another bar")


def test_a_tack_in_a_strange_place_is_a_mistake_of_the_case(client):
    for at in (["x"], {"a": 1}, 3, True):
        tables = starter("plate-tee")
        tables["tack"] = [{"seam": "front", "length": "5 mm", "size": "3 mm", "at": at}]
        checked = post(client, "/api/check", {"tables": tables}).json()
        assert [m["section"] for m in checked["messages"]] == ["tack"], at
        assert post(client, "/api/jobs", {"tables": tables, "kind": "run"}).status_code == 409


@pytest.mark.parametrize("section", ["weld", "gauge", "clamping", "title"])
def test_sections_with_the_wrong_brackets_are_refused_in_words(client, section):
    tables = starter()
    old = tables[section]
    tables[section] = old[0] if isinstance(old, list) else [{"x": old}]
    answer = post(client, "/api/open", {"text": tomli_w.dumps(tables)})
    assert answer.status_code == 409 and section in answer.json()["error"]


def test_a_case_file_in_another_encoding_is_refused_in_words(tmp_path):
    client, bench = client_of(tmp_path)
    (bench.work / "shop.toml").write_bytes('title = "Träger"'.encode("latin-1"))
    (case,) = client.get("/api/shelf").json()["cases"]
    answer = client.get(f"/api/open/{case['id']}")
    assert answer.status_code == 404 and "shop.toml: cannot be read" in answer.json()["error"]
    draft = {"tables": starter(), "base": case["id"]}
    assert "cannot be read" in post(client, "/api/check", draft).json()["messages"][0]["text"]


@pytest.mark.parametrize("held", ["null", "[]", '"x"', "3", "{"])
def test_a_damaged_run_is_left_out_and_the_others_are_listed(tmp_path, held):
    write_run(tmp_path / "good", frames=())
    write_run(tmp_path / "bad", frames=())
    (tmp_path / "bad" / "run.json").write_text(held)
    client, _ = client_of(tmp_path)
    assert [r["name"] for r in client.get("/api/shelf").json()["runs"]] == ["good"]
    bad = id_of(tmp_path / "bad")
    for path in (bad, f"{bad}/scene"):
        answer = client.get(f"/api/runs/{path}")
        assert answer.status_code == 404 and "cannot be read" in answer.json()["error"]


def test_what_nobody_foresaw_is_answered_in_words_and_logged(client, monkeypatch, capsys):
    monkeypatch.setattr("weldsim.page.case_list.case_files", lambda work: {"x": None})
    answer = client.get("/api/shelf")
    assert answer.status_code == 500 and "AttributeError" in answer.json()["error"]
    assert "Traceback" in capsys.readouterr().err


def test_answers_carry_the_headers_browsers_heed(client):
    for path in ("/", "/api/begin", "/static/page.js", "/nothing"):
        head = client.get(path).headers
        policy = head["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert head["x-content-type-options"] == "nosniff"
        assert head["referrer-policy"] == "no-referrer"


def test_own_scripts_and_styles_obey_the_policy():
    """No inline script, style or handler, which the policy would block."""
    page = (files("weldsim") / "page" / "static" / "index.html").read_text()
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style| style=| on\w+=", page)


FOREIGN = ['foo={"a": 1}', "a=b,c d", "x", "=y", 'q="half', "ü=1", "weldsim=1"]


@pytest.mark.parametrize("foreign", FOREIGN)
def test_cookies_of_other_servers_on_this_host_lock_nobody_out(tmp_path, foreign):
    """A browser sends the cookies of all ports of a host, older ones first."""
    client, _ = client_of(tmp_path, KEY)
    for cookies in (f"{foreign}; weldsim_key={KEY}", f"weldsim_key={KEY};{foreign}"):
        head = {"cookie": f"{cookies}; weldsim_me={'a' * 32}".encode("latin-1")}
        answer = client.get("/api/begin", headers=head)
        assert answer.status_code == 200 and "set-cookie" not in answer.headers
    wrong = {"cookie": f"{foreign}; weldsim_key=x{KEY}".encode("latin-1")}
    assert client.get("/api/begin", headers=wrong).status_code == 403


@pytest.mark.parametrize(
    "asked",
    [{}, {"host": "localhost"}, {"host": "::1"}, {"lan": True}, {"lan": True, "host": "127.0.0.2"},
     {"lan": True, "host": "::"}],
)  # fmt: skip
def test_the_addresses_that_are_printed_answer(tmp_path, monkeypatch, capsys, asked):
    """Each is listened on, and let in under the name it is printed with."""
    import socket

    import uvicorn

    served, opened = [], []

    def run(server, sockets):
        (place,) = sockets
        place.listen()
        served.append(server.config.app)
        first = re.search(r"serve: http://(\S+):(\d+)/", said := capsys.readouterr().out)
        socket.create_connection((first[1].strip("[]"), int(first[2])), timeout=5).close()
        served.append(said)
        place.close()

    class Now:
        def __init__(self, wait, work, args):
            opened.extend(args)

        def start(self):
            pass

    monkeypatch.setattr(uvicorn.Server, "run", run)
    monkeypatch.setattr("threading.Timer", Now)
    monkeypatch.setattr(page_app, "_own_names", lambda: ["shop.example"])
    try:
        page_app.serve(port=0, work=tmp_path, **asked)
    except WeldsimError as error:
        pytest.skip(f"no such address here: {error}")
    app, said = served
    addresses = re.findall(r"http://\S+", said)
    assert opened == addresses[:1]
    everywhere = asked.get("lan") and asked.get("host") in (None, "::")
    assert len(addresses) == (2 if everywhere else 1)
    assert not {"0.0.0.0", "::"} & set(app.door.hosts)
    for address in addresses:
        client = TestClient(app, base_url=address.split("/?")[0], follow_redirects=False)
        assert client.get(address).status_code == (303 if asked.get("lan") else 200), address


def test_only_with_lan_can_others_reach_it(tmp_path):
    with pytest.raises(WeldsimError, match="--lan"):
        page_app.serve(host="0.0.0.0", work=tmp_path, open_browser=False)
