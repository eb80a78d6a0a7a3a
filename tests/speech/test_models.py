from __future__ import annotations

import hashlib
import io
import json
import urllib.error
import zipfile

import pytest

from assistant.errors import ModelMissing
from assistant.speech.models import CATALOGUE, check_models, install, list_models

NAME = CATALOGUE[0].name


def _archive(inside: str = NAME) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as bundle:
        for part in ("am/final.mdl", "conf/mfcc.conf", "README"):
            bundle.writestr(f"{inside}/{part}", "x" * 1000)
    return file.getvalue()


class Answer(io.BytesIO):
    def __init__(self, data: bytes, status: int = 200):
        super().__init__(data)
        self.status = status


class Site:
    """Answers as the publisher's site does."""

    def __init__(self, archive: bytes, md5: str | None = None):
        self.archive, self.asked = archive, []
        self.listed = [{"name": NAME, "md5": md5}] if md5 else []

    def __call__(self, request, timeout):
        if isinstance(request, str):
            return Answer(json.dumps(self.listed).encode())
        wanted = request.get_header("Range")
        self.asked.append(wanted)
        if wanted:
            return Answer(self.archive[int(wanted[6:-1]) :], 206)
        return Answer(self.archive)


def _md5(data: bytes) -> str:
    return hashlib.md5(data, usedforsecurity=False).hexdigest()


def test_a_model_is_fetched_checked_and_unpacked(tmp_path):
    archive = _archive()
    said = []
    folder = install(NAME, tmp_path, said.append, Site(archive, _md5(archive)))
    assert (folder / "am" / "final.mdl").is_file()
    assert not list(tmp_path.glob("*.part"))
    assert {m.name: here for m, here in list_models(tmp_path)}[NAME]
    assert check_models(tmp_path)[0][1]
    install(NAME, tmp_path, said.append, None)
    assert "already" in said[-1]


def test_a_broken_download_goes_on_where_it_stopped(tmp_path):
    archive = _archive()
    (tmp_path / f"{NAME}.zip.part").write_bytes(archive[:100])
    site = Site(archive, _md5(archive))
    install(NAME, tmp_path, lambda _: None, site)
    assert site.asked == ["bytes=100-"]


def test_a_damaged_download_is_deleted_and_named(tmp_path):
    with pytest.raises(ModelMissing, match="wrong digest"):
        install(NAME, tmp_path, lambda _: None, Site(_archive(), "0" * 32))
    with pytest.raises(ModelMissing, match="damaged"):
        install(NAME, tmp_path, lambda _: None, Site(b"no archive"))
    assert not list(tmp_path.iterdir())


def test_an_archive_of_something_else_is_not_unpacked(tmp_path):
    with pytest.raises(ModelMissing, match="not the archive"):
        install(NAME, tmp_path, lambda _: None, Site(_archive("../elsewhere")))
    assert not (tmp_path.parent / "elsewhere").exists()


def test_without_internet_it_says_what_to_do(tmp_path):
    def offline(request, timeout):
        raise urllib.error.URLError("no route")

    with pytest.raises(ModelMissing, match="copy the folder"):
        install(NAME, tmp_path, lambda _: None, offline)


def test_an_unknown_name_is_refused_with_those_that_are_known(tmp_path):
    with pytest.raises(ModelMissing, match=NAME):
        install("vosk-model-xx", tmp_path)
