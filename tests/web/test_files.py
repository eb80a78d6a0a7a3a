"""The page's files agree with the server and with each other; colours meet their contrast."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from assistant.server.messages import FROM_DEVICE, FROM_SERVER, RATE_HZ, field_kinds

WEB = Path(__file__).resolve().parents[2] / "web"
CSS = (WEB / "app.css").read_text(encoding="utf-8")


def test_the_message_twins_are_alike() -> None:
    text = (WEB / "net" / "messages.js").read_text(encoding="utf-8")
    twin = json.loads(re.search(r"MESSAGES = (\{.*?\n\});", text, re.S)[1])
    assert twin["from-device"] == {name: field_kinds(kind) for name, kind in FROM_DEVICE.items()}
    assert twin["from-server"] == {name: field_kinds(kind) for name, kind in FROM_SERVER.items()}
    numbered = {n for n, kind in (FROM_DEVICE | FROM_SERVER).items() if kind.numbered}
    assert set(twin["numbered"]) == numbered
    assert f"RATE_HZ = {RATE_HZ};" in text


def shipped() -> set[str]:
    return {
        path.relative_to(WEB).as_posix()
        for path in WEB.rglob("*")
        if path.is_file() and "tests" not in path.relative_to(WEB).parts
    }


def test_the_service_worker_keeps_every_file_of_the_page() -> None:
    text = (WEB / "sw.js").read_text(encoding="utf-8")
    listed = json.loads("[" + re.search(r"FILES = \[(.*?),?\n\];", text, re.S)[1] + "]")
    assert set(listed) == (shipped() - {"sw.js"}) | {"./"}
    assert len(listed) == len(set(listed))


def test_everything_that_is_named_is_there() -> None:
    names = shipped()
    for path in WEB.rglob("*.js"):
        for name in re.findall(r'from "(\.[^"]+)"', path.read_text(encoding="utf-8")):
            assert (path.parent / name).is_file(), f"{path.name} imports {name}"
    index = (WEB / "index.html").read_text(encoding="utf-8")
    for name in re.findall(r'(?:src|href)="([^"]+)"', index):
        assert name in names
    manifest = json.loads((WEB / "manifest.webmanifest").read_text(encoding="utf-8"))
    assert all(icon["src"] in names for icon in manifest["icons"])


def imported(name: str, found: set[str]) -> set[str]:
    """The modules that a module needs, and those that they need."""
    for each in re.findall(r'from "(\.[^"]+)"', (WEB / name).read_text(encoding="utf-8")):
        path = (WEB / name).parent.joinpath(each).resolve().relative_to(WEB).as_posix()
        if path not in found:
            found.add(path)
            imported(path, found)
    return found


def test_all_modules_are_asked_for_at_once() -> None:
    index = (WEB / "index.html").read_text(encoding="utf-8")
    preloaded = re.findall(r'"modulepreload" href="([^"]+)"', index)
    assert preloaded == sorted(imported("app.js", set()))


def test_no_script_or_style_is_inline() -> None:
    index = (WEB / "index.html").read_text(encoding="utf-8")
    assert not re.search(r"<style|<script(?![^>]*src=)|\sstyle=|\son\w+=", index)
    for path in WEB.rglob("*.js"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|eval\(|new Function", text)


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, "relative luminance"). [1]"""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21. [1]"""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_formula_gives_the_published_values() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.542, abs=0.001)
    assert contrast("#000000", "#ffd100") == pytest.approx(14.37, abs=0.01)


def themes() -> dict[str, dict[str, str]]:
    roots = re.findall(r":root(?:\.night)? \{(.*?)\}", CSS, re.S)
    day, night = (dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", root)) for root in roots)
    return {"day": day, "night": day | night}


@pytest.mark.parametrize("theme", ["day", "night"])
def test_every_text_colour_has_a_contrast_of_seven(theme: str) -> None:
    colours = themes()[theme]
    pairs = [name for name in colours if f"on-{name}" in colours]
    assert {"ground", "danger", "warning", "caution", "notice", "safe", "key"} <= set(pairs)
    for name in pairs:
        ratio = contrast(colours[name], colours[f"on-{name}"])
        assert ratio >= 7, f"{theme}: {name} has {ratio:.2f}"
    # Edges of controls and the mark of the focus, against the ground: 3 to 1 is asked.
    for name in ("edge", "focus"):
        assert contrast(colours[name], colours["ground"]) >= 3


def test_each_rule_pairs_a_background_with_its_own_text_colour() -> None:
    for rule in re.findall(r"\{([^{}]*)\}", CSS):
        ground = re.search(r"background: var\(--([\w-]+)\)", rule)
        text = re.search(r"(?:^|[^-])color: var\(--on-([\w-]+)\)", rule)
        if ground and text:
            assert ground[1] == text[1]


def test_colours_are_written_in_one_place() -> None:
    outside = re.sub(r":root(?:\.night)? \{.*?\}", "", CSS, flags=re.S)
    values = re.findall(r":\s*([^;{}]*);", outside)
    assert not [value for value in values if re.search(r"#[0-9a-f]{3}|rgb|hsl", value)]
