"""Which engines there are, and which one a job gets. Nothing is imported before it is chosen."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path

from assistant.errors import ModelMissing
from assistant.speech.recogniser import Recogniser

NAMES = ("vosk", "whisper", "sphinx")


def load(
    name: str = "auto", models_dir: Path | None = None, data_dir: Path | None = None
) -> Recogniser:
    """An engine with its model.

    Parameters
    ----------
    name : str
        "vosk", "whisper", "sphinx" or "auto": Vosk if an English model is found, else Whisper,
        else PocketSphinx.
    models_dir, data_dir : Path, optional
        Folders to look for a Vosk model in: the project's `models/`, and the user's data folder
        (its `models/` inside is looked at too).

    Raises
    ------
    ModelMissing
        If the engine or its model is not on this machine; says how to get it.
    """
    folders = model_folders(models_dir, data_dir)
    makers: dict[str, Callable[[], Recogniser]] = {
        "vosk": lambda: _vosk(folders),
        "whisper": _whisper,
        "sphinx": _sphinx,
    }
    if name in makers:
        return makers[name]()
    if name != "auto":
        raise ModelMissing(f"there is no engine '{name}'; use auto, {', '.join(NAMES)}")
    reasons = []
    for candidate in NAMES:
        try:
            return makers[candidate]()
        except ModelMissing as error:
            reasons.append(f"{candidate}: {error}")
    raise ModelMissing("no speech engine can be used: " + "; ".join(reasons))


def available(
    models_dir: Path | None = None, data_dir: Path | None = None
) -> list[tuple[str, bool, str]]:
    """For each engine its name, whether it can be used, and with what or why not."""
    from assistant.speech.vosk_engine import find_model
    from assistant.speech.whisper_engine import check_model

    found = []
    folders = model_folders(models_dir, data_dir)
    model = find_model(folders)
    if importlib.util.find_spec("vosk") is None:
        found.append(("vosk", False, "install it with: pip install vosk"))
    elif model is None:
        found.append(("vosk", False, _no_vosk_model(folders)))
    else:
        found.append(("vosk", True, f"model {model.name}"))
    if importlib.util.find_spec("ctranslate2") is None:
        found.append(("whisper", False, "install it with: pip install ctranslate2"))
    else:
        try:
            check_model()
            found.append(("whisper", True, "site-en, digest right"))
        except ModelMissing as error:
            found.append(("whisper", False, str(error)))
    if importlib.util.find_spec("pocketsphinx") is None:
        found.append(("sphinx", False, "install it with: pip install pocketsphinx"))
    else:
        found.append(("sphinx", True, "en-us, inside its package"))
    return found


def model_folders(models_dir: Path | None, data_dir: Path | None) -> list[Path]:
    """Where Vosk models may lie, in the order they are looked at."""
    folders = [models_dir] if models_dir else []
    if data_dir:
        folders += [data_dir / "models", data_dir]
    return folders


def _no_vosk_model(folders: list[Path]) -> str:
    places = ", ".join(str(folder) for folder in folders) or "models/"
    return (
        f"no English Vosk model in {places}; get one with: thirdhand models install, "
        "or copy its folder there"
    )


def _vosk(folders: list[Path]) -> Recogniser:
    from assistant.speech.vosk_engine import VoskRecogniser, find_model

    model = find_model(folders)
    if model is None:
        raise ModelMissing(_no_vosk_model(folders))
    return VoskRecogniser(model)


def _whisper() -> Recogniser:
    try:
        from assistant.speech.whisper_engine import WhisperRecogniser

        return WhisperRecogniser()
    except ImportError as error:
        raise ModelMissing(
            f"{error.name} is not installed; install it with: pip install {error.name}"
        ) from error


def _sphinx() -> Recogniser:
    from assistant.speech.sphinx_engine import SphinxRecogniser

    return SphinxRecogniser()
