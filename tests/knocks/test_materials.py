"""Material files that broke an earlier version, and the seeded spoiling of those that ship."""

import pytest

from tests.knocks import materials
from tests.knocks.tally import unreadable
from weldsim.errors import MaterialError
from weldsim.materials.material import load_material

STEEL = next(p for p in materials.FILES if p.stem == "carbon-steel").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("format = 1", "format = 2", "format: 2: allowed: 1"),
        ("format = 1", 'format = "1"', "allowed: 1"),
        ('title = "Carbon steel S355"', f"title = {'9' * 5000}", "not readable as TOML"),
        ('title = "Carbon steel S355"', f"title = {'[' * 2000 + ']' * 2000}", "not readable"),
        ("extension = ", "extension = [] #", "extension"),
        ("temperature_unit = ", "temperature_unit = [] #", "temperature_unit"),
        ('title = "Carbon steel S355"', 'title = "\\u001b[2J"', "title"),
    ],
)
def test_what_broke_the_reader_is_refused_in_words(tmp_path, old, new, said):
    path = tmp_path / "metal.toml"
    text = (
        STEEL.replace(old, new, 1)
        if old in STEEL
        else STEEL.replace("valid = ", f"{new}\nvalid = ", 1)
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MaterialError) as caught:
        load_material(path)
    assert said in str(caught.value) and not unreadable(str(caught.value))


@pytest.mark.parametrize(
    "name", ["m" * 300 + ".toml", "~nobody-of-this-name/m.toml", "/dev/zero.toml"]
)
def test_a_name_that_no_file_has(name):
    with pytest.raises(MaterialError, match="cannot be read"):
        load_material(name)


def test_spoiled_material_files_load_or_are_refused():
    tally = materials.knock(200, seed=1)
    assert not tally.broke, tally.report()
    assert tally.refused > 100 and tally.accepted > 10
