"""Calibrated shops: shop files that a fit has left, kept under a name that cases may give."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import tomli_w

from weldsim.case.shop import read_shop_file
from weldsim.errors import WeldsimError
from weldsim.page.case_form import KEPT_SHOP, read_tables
from weldsim.studies.spreads import value_name
from weldsim.system.files import whole_file

FOLDER, FILE, DRAWS = "shops", "shop.toml", "draws.csv"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,39}")
MOST = 100


def folder_of(work: Path, name: str) -> Path:
    """Where a shop of a name lies; refused where it is no such name.

    Parameters
    ----------
    work : Path
        The work folder.
    name : str
        Letters, digits, spaces, - and _.

    Returns
    -------
    Path
        There or not.
    """
    if not isinstance(name, str) or not NAME.fullmatch(name.strip()):
        raise WeldsimError(
            f"name: {str(name)[:40]!r} is not allowed: up to 40 letters, digits, spaces, - and _"
        )
    return work / FOLDER / re.sub(r"[ _]+", "-", name.strip()).lower()


def listed(work: Path) -> list[dict[str, Any]]:
    """Calibrated shops of the work folder, by name.

    Parameters
    ----------
    work : Path
        The work folder.

    Returns
    -------
    list of dict
        `name`, `file` as a case of the page names it, `values` by key and the keys' `names`.
    """
    out = []
    for path in sorted((work / FOLDER).glob(f"*/{FILE}")):
        try:
            values = read_shop_file(path)
        except ValueError:  # not ours; it stays where it is
            continue
        file = f"{FOLDER}/{path.parent.name}/{FILE}"
        if re.fullmatch(KEPT_SHOP, file):
            shown = {key: str(value) for key, value in values.items()}
            names = {key: value_name(key) for key in values}
            out.append({"name": path.parent.name, "file": file, "values": shown, "names": names})
    return out[:MOST]


def keep(work: Path, fit: Path, name: str, again: bool = False) -> dict[str, Any]:
    """Keep what a fit learnt under a name.

    Parameters
    ----------
    work : Path
        The work folder.
    fit : Path
        Folder of the fit.
    name : str
        Letters, digits, spaces, - and _.
    again : bool, optional
        Replace a shop of that name.

    Returns
    -------
    dict
        See `listed`.

    Raises
    ------
    WeldsimError
        If there is one of that name, or the fit has none.
    """
    folder, source = folder_of(work, name), fit / FILE
    if not source.is_file():
        raise WeldsimError("this fit has no values yet")
    if (folder / FILE).exists() and not again:
        raise WeldsimError(f"name: {folder.name!r} is there already: choose another, or replace it")
    if len(listed(work)) >= MOST:
        raise WeldsimError(f"{MOST} shops are kept already: take some out of the work folder first")
    folder.mkdir(parents=True, exist_ok=True)
    for file in (DRAWS, FILE):  # the draws that the shop file names, first
        if (fit / file).is_file():
            with whole_file(folder / file) as beside:
                shutil.copyfile(fit / file, beside)
    return next(s for s in listed(work) if s["name"] == folder.name)


def anchored(text: str, work: Path) -> str:
    """A case whose kept shop is named by its whole path: the case lies elsewhere when it is run.

    Parameters
    ----------
    text : str
        Case as TOML.
    work : Path
        The work folder.

    Returns
    -------
    str
        The same case.
    """
    if f"{FOLDER}/" not in text:
        return text
    tables = read_tables(text)
    shop = tables.get("shop")
    file = shop.get("file") if isinstance(shop, dict) else None
    if not isinstance(file, str) or not re.fullmatch(KEPT_SHOP, file):
        return text
    tables["shop"] = {**shop, "file": str((work / file).resolve())}
    return tomli_w.dumps(tables)


def as_kept(tables: dict[str, Any], work: Path) -> dict[str, Any]:
    """Tables of a case as a form shows them: a kept shop by its short name.

    Parameters
    ----------
    tables : dict
        Of a case.
    work : Path
        The work folder.

    Returns
    -------
    dict
        The same case.
    """
    shop = tables.get("shop")
    file = shop.get("file") if isinstance(shop, dict) else None
    if not isinstance(file, str):
        return tables
    short = file.removeprefix(f"{work.resolve()}/")
    return {**tables, "shop": {**shop, "file": short}} if re.fullmatch(KEPT_SHOP, short) else tables
