"""What the engine weighs before it believes an answer, told apart from its thresholds."""

from __future__ import annotations

import math

from assistant.speech import whisper_engine as engine
from assistant.speech.recogniser import Expected


def facts(search: engine.Search, wanted: Expected) -> dict[str, object] | None:
    """What `whisper_engine.judge` weighs, before it is held against any threshold.

    score, ratio: of the best answer. words: how many. apart: to the next answer. [nats]
    """
    candidates = engine.possible(search)
    if not candidates:
        return None
    numbers = [c for c in candidates if math.isfinite(c.figures)]
    spelled = max((c.spelled for c in numbers), default=-math.inf)

    def worth(candidate: engine.Candidate, say: float) -> float:
        doubt = 0.0
        if math.isfinite(candidate.figures) and math.isfinite(spelled):
            doubt = say * min(engine._SPELLED_MOST, spelled - candidate.spelled)
        drawl = engine.drawl(search, candidate)
        open_end = engine._OPEN_COST if candidate.open_end else 0.0
        hurry = engine._hurry(candidate, search.active_s)
        return candidate.score - hurry - doubt - open_end - drawl

    ranked = sorted(candidates, key=lambda c: worth(c, engine._SPELLED), reverse=True)
    best, score = ranked[0], worth(ranked[0], 0.0)
    says = (0.0, engine._SPELLED_RIVAL)
    gaps = [worth(best, say) - worth(c, say) for c in ranked[1:] for say in says]
    count = len(best.words.split())
    weight = wanted.weights.get(best.template, "command")
    return {
        "denied": engine.contrary(search.free_text, best, weight)
        or engine.blurred(search.free_text, best, weight, float(score)),
        "heard": best.words,
        "weight": weight,
        "score": float(score),
        "ratio": float(score - search.free_score),
        "words": count,
        "apart": float(min(gaps, default=99.0)),
        "long": engine.too_long(search, best),
        "no_speech": float(search.no_speech),
    }


def accepted(row: dict, demand: engine._Demand, no_speech: float) -> bool:
    """True if the engine would believe this answer."""
    if "heard" not in row or row["long"] or row["denied"]:
        return False
    cost = engine._NO_SPEECH_COST if row["no_speech"] > no_speech else 0.0
    floor = demand.score - demand.a_word * (row["words"] - 1) + cost
    near = row["apart"] < min(demand.margin, demand.rivals)
    return row["score"] >= floor and row["ratio"] >= demand.ratio and not near
