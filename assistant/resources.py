"""Where packs, page and models are, in a checkout and in an installed wheel alike.

In a checkout `steps/`, `web/` and `models/` lie beside the package; a wheel carries them inside,
under `assistant/_data/`.
"""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_data_path

from assistant.errors import ThirdhandError

_PACKAGE = Path(__file__).resolve().parent
DATA_VARIABLE = "THIRDHAND_DATA"


def steps_dir() -> Path:
    """The folder with the packs that come with the program, one folder a pack."""
    return _shipped("steps")


def web_dir() -> Path:
    """The folder with the page; `index.html` lies at its top."""
    return _shipped("web")


def models_dirs() -> list[Path]:
    """The two folders that may hold speech models: the person's, then the program's.

    Either may be missing; a model of the same name in the first one wins.
    """
    places = _candidates("models")
    shipped = next((place for place in places if place.is_dir()), places[-1])
    return [data_dir() / "models", shipped]


def site_model_dir() -> Path:
    """The folder of the speech model that comes with the program; it may be missing."""
    places = [place / "site-en" for place in _candidates("models")]
    return next((place for place in places if place.is_dir()), places[-1])


def data_dir() -> Path:
    """The person's own folder for records, models and cached sound; it need not exist yet.

    THIRDHAND_DATA names another one.
    """
    chosen = os.environ.get(DATA_VARIABLE)
    if chosen:
        return Path(chosen).expanduser().absolute()
    return user_data_path("thirdhand", appauthor=False)


def _candidates(name: str) -> tuple[Path, ...]:
    """The wheel's place first: beside an installed package anything may lie."""
    inside = _PACKAGE / "_data" / name
    checkout = _PACKAGE.parent
    return (inside, checkout / name) if (checkout / "pyproject.toml").is_file() else (inside,)


def _shipped(name: str) -> Path:
    places = _candidates(name)
    for place in places:
        if place.is_dir():
            return place
    raise ThirdhandError(
        f"the folder '{name}' that comes with Thirdhand is missing; looked in "
        f"{', '.join(map(str, places))}. Install Thirdhand again"
    )
