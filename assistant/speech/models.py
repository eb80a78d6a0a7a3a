"""Speech models: what is here, and how to get more. Behind `thirdhand models`."""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
import urllib.error
import urllib.request
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.errors import ModelMissing
from assistant.speech.engines import available
from assistant.speech.vosk_engine import is_model

_SITE = "https://alphacephei.com/vosk/models/"
_LIST = _SITE + "model-list.json"
_TIMEOUT_S = 30
_BLOCK = 1 << 16


@dataclass(frozen=True)
class Published:
    """A model that can be fetched.

    size_mb: of the download. [MB]
    """

    name: str
    about: str
    licence: str
    size_mb: int

    @property
    def address(self) -> str:
        """Where it is published."""
        return f"{_SITE}{self.name}.zip"


CATALOGUE = (
    Published("vosk-model-small-en-us-0.15", "English (US), small: a phone or a panel PC",
              "Apache-2.0", 40),
    Published("vosk-model-en-us-0.22-lgraph", "English (US), larger and more exact",
              "Apache-2.0", 128),
)  # fmt: skip


def list_models(models_dir: Path) -> list[tuple[Published, bool]]:
    """Every published model that we know, and whether it is in `models_dir`."""
    return [(model, is_model(models_dir / model.name)) for model in CATALOGUE]


def check_models(models_dir: Path, data_dir: Path | None = None) -> list[tuple[str, bool, str]]:
    """For each engine its name, whether it can be used, and with what or why not."""
    return available(models_dir, data_dir)


def install(
    name: str,
    models_dir: Path,
    say: Callable[[str], None] = print,
    open_url: Callable[..., Any] = urllib.request.urlopen,
) -> Path:
    """Fetch a published Vosk model and unpack it.

    A download that broke off goes on where it stopped. The digest is checked whenever the
    publisher's list can be read.

    Parameters
    ----------
    name : str
        A name of the catalogue.
    models_dir : Path
        The folder to put it in.
    say : callable
        Takes lines of progress.
    open_url : callable
        Opens an address, as `urllib.request.urlopen` does.

    Returns
    -------
    Path
        The folder of the model.

    Raises
    ------
    ModelMissing
        If the name is unknown, there is no internet, or what came is damaged.
    """
    known = {model.name: model for model in CATALOGUE}
    if name not in known:
        raise ModelMissing(f"no model '{name}' is known; there are: {', '.join(known)}")
    model, target = known[name], models_dir / name
    if is_model(target):
        say(f"{target} is here already")
        return target
    models_dir.mkdir(parents=True, exist_ok=True)
    part = models_dir / f"{name}.zip.part"
    try:
        digest = _published_md5(name, open_url)
        _download(model, part, say, open_url)
    except OSError as error:  # no name, no route, refused, broke off
        raise ModelMissing(
            f"{model.address} can't be fetched ({error}). Without internet: download it on "
            f"another machine, unpack it, and copy the folder {name} into {models_dir}"
        ) from error
    if digest and _md5(part) != digest:
        part.unlink()
        raise ModelMissing(f"{name} came damaged (wrong digest) and was deleted; try again")
    if not digest:
        say("the publisher gives no digest for it; only the archive's own sums were checked")
    _unpack(part, name, target)
    part.unlink()
    say(f"{target} is ready")
    return target


def _published_md5(name: str, open_url: Callable[..., Any]) -> str | None:
    with open_url(_LIST, timeout=_TIMEOUT_S) as answer:
        try:
            models = json.load(answer)
        except ValueError:
            return None
    for model in models if isinstance(models, list) else []:
        if isinstance(model, dict) and model.get("name") == name:
            md5 = model.get("md5")
            return md5 if isinstance(md5, str) else None
    return None


def _download(
    model: Published, part: Path, say: Callable[[str], None], open_url: Callable[..., Any]
) -> None:
    have = part.stat().st_size if part.exists() else 0
    request = urllib.request.Request(model.address)  # noqa: S310 - a fixed https address
    if have:
        request.add_header("Range", f"bytes={have}-")
    say(f"fetching {model.name}, about {model.size_mb} MB" + (f", from {have}" if have else ""))
    try:
        answer = open_url(request, timeout=_TIMEOUT_S)
    except urllib.error.HTTPError as error:
        if error.code == 416:  # nothing is left to fetch
            return
        raise
    with answer:
        resumed = getattr(answer, "status", 200) == 206
        with part.open("ab" if have and resumed else "wb") as file:
            shutil.copyfileobj(answer, file, _BLOCK)


def _md5(path: Path) -> str:
    # The publisher's choice: it guards against broken downloads, not against forgery.
    with path.open("rb") as file:
        return hashlib.file_digest(file, lambda: hashlib.md5(usedforsecurity=False)).hexdigest()


def _unpack(archive: Path, name: str, target: Path) -> None:
    try:
        with zipfile.ZipFile(archive) as bundle:
            outside = [n for n in bundle.namelist() if not n.startswith(f"{name}/") or ".." in n]
            if outside or bundle.testzip():
                raise ModelMissing(f"{archive} is damaged or not the archive of {name}; delete it")
            with tempfile.TemporaryDirectory(dir=target.parent) as folder:
                bundle.extractall(folder)
                (Path(folder) / name).rename(target)
    except zipfile.BadZipFile as error:
        archive.unlink(missing_ok=True)
        raise ModelMissing(f"{name} came damaged ({error}) and was deleted; try again") from error
    if not is_model(target):
        raise ModelMissing(f"{target} was unpacked but is no Vosk model; delete it")
