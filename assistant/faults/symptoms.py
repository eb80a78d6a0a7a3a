"""Which symptom somebody means. What fits none is said to be unknown, never forced into one."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from math import log

from assistant.faults.model import Symptom

_SMALL = frozenset(
    ("a", "an", "the", "it", "its", "is", "are", "was", "be", "been", "and", "or", "but", "of",
     "to", "at", "in", "on", "by", "with", "from", "for", "my", "this", "that", "there", "when",
     "while", "then", "only", "just", "very", "still", "again", "one", "some", "has", "have", "had",
     "does", "do", "did", "gets", "get", "goes", "go", "comes", "keeps",
     "any", "more", "now")
)  # fmt: skip
_ENOUGH = 0.6  # share of a phrase that was said, so that it counts
_CLEARLY = 0.15  # lead over the next one, so that nobody is asked


def words(text: str) -> tuple[str, ...]:
    """Lower-case words without endings: 'Reverses at the floor' -> ('revers', 'floor')."""
    found = []
    for word in re.findall(r"[a-z0-9]+", text.lower().replace("'", "")):
        if word in _SMALL:
            continue
        short = re.sub(r"(ing|es|ed|s|e)$", "", word)
        found.append(short if len(short) > 2 else word)
    return tuple(found)


def find(said: str, symptoms: Iterable[Symptom]) -> tuple[Symptom, ...]:
    """The symptoms that words mean: one, a few to choose from (at most three), or none.

    A symptom's id, its number ("28"), its name or one of its phrases is always one. Else each
    phrase counts by the share of it that was said and the share of what was said that is in it,
    rare words more than common ones.
    """
    every = tuple(symptoms)
    plain = said.strip().lower()
    for each in every:
        if plain in (each.id, str(each.number)):
            return (each,)
    wanted = words(said)
    for each in every:
        if any(wanted and words(phrase) == wanted for phrase in (each.name, *each.phrases)):
            return (each,)
    weight = _weights(every)
    scored = []
    for each in every:
        score = max(_score(wanted, words(p), weight) for p in (each.name, *each.phrases))
        if score >= _ENOUGH:
            scored.append((score, each))
    scored.sort(key=lambda pair: (-pair[0], pair[1].number))
    if not scored:
        return ()
    if len(scored) == 1 or scored[0][0] - scored[1][0] >= _CLEARLY:
        return (scored[0][1],)
    return tuple(each for _, each in scored[:3])


def _weights(symptoms: tuple[Symptom, ...]) -> dict[str, float]:
    """Rare words weigh more: log(1 + symptoms / symptoms with the word)."""
    count = Counter(
        word
        for each in symptoms
        for word in {w for phrase in (each.name, *each.phrases) for w in words(phrase)}
    )
    return {word: log(1 + len(symptoms) / met) for word, met in count.items()}


def _score(said: tuple[str, ...], phrase: tuple[str, ...], weight: dict[str, float]) -> float:
    """Harmonic mean of the two shares (the F-measure of the shared words)."""
    unknown = max(weight.values(), default=1.0)  # a word that the guide never uses counts fully
    both = set(said) & set(phrase)
    if len(both) < 2:  # the name of a device alone is no symptom
        return 0.0
    shared = sum(weight[word] for word in both)
    of_phrase = shared / sum(weight[word] for word in set(phrase))
    of_said = shared / sum(weight.get(word, unknown) for word in set(said))
    return 2 * of_phrase * of_said / (of_phrase + of_said)
