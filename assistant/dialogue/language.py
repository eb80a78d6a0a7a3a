"""The language file as frozen tables; the only disk access of this folder, once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from ruamel.yaml import YAML


@dataclass(frozen=True)
class Meaning:
    """What a phrase of the language file stands for: an input's kind and its fixed fields."""

    key: str
    kind: str
    fields: tuple[tuple[str, Any], ...] = ()


@dataclass(frozen=True)
class Language:
    """Every word that is understood or spoken; see the comments in `en.yaml`.

    phrases: template -> meaning, in the file's order.
    """

    name: str
    phrases: Mapping[str, Meaning]
    spellings: Mapping[str, str]
    pronunciations: Mapping[str, str]
    signals: Mapping[str, str]
    texts: Mapping[str, Any]

    def templates(self, key: str) -> tuple[str, ...]:
        """The templates of one meaning."""
        return tuple(t for t, meaning in self.phrases.items() if meaning.key == key)

    def text(self, *path: str, **values: object) -> str:
        """A sentence or word by its place in the file, its placeholders filled."""
        found: Any = self.texts
        for part in path:
            found = found[part]
        return re.sub(r"\{(\w+)\}", lambda m: str(values[m[1]]), str(found))


def read(text: str) -> Language:
    """The language of a file's text."""
    tree = YAML(typ="safe", pure=True).load(text)
    phrases: dict[str, Meaning] = {}
    for key, entry in tree["phrases"].items():
        fields = dict(entry.get("with", {}))
        if entry["is"] == "command":
            fields["name"] = key
        for template in entry["say"]:
            phrases[template] = Meaning(key, entry["is"], tuple(fields.items()))
    return Language(
        name=tree["language"],
        phrases=phrases,
        spellings=tree["spellings"],
        pronunciations=tree["pronunciations"],
        signals=tree["signals"],
        texts=tree,
    )


@cache
def language() -> Language:
    """The language in use."""
    file = resources.files("assistant.dialogue").joinpath("en.yaml")
    return read(file.read_text(encoding="utf-8"))
