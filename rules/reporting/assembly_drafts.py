"""Steps of the work instruction before they are numbered."""

from __future__ import annotations

from typing import Any, TypedDict

from rules.reporting.assembly_texts import StepWords
from rules.reporting.assembly_words import Number, Words, say
from rules.schema.report import AssemblyAction

__all__ = ["Draft", "draft", "stop"]


class Draft(TypedDict):
    """A step before it is numbered."""

    number: int
    action: AssemblyAction
    components: list[str]
    joint: str | None
    text: str
    values: list[dict[str, Any]]
    caution: list[str]
    at: list[str]
    not_stated: list[str]
    from_maker: list[str]


def draft(
    step: StepWords, words: Words, components: list[str], at: list[str], joint: str | None = None
) -> Draft | None:
    """Word a step, or return None where nothing of it can be said."""
    missing: list[str] = []
    text = say(step.sentences, words, missing)
    if not text:
        return None
    values = []
    for name in step.values:
        number = words.number(name)
        if isinstance(number, Number):
            values.append(number.fields())
        elif number is not None:
            missing.extend(number.fields)
    return {
        "number": 0,
        "action": step.action,
        "components": components,
        "joint": joint,
        "text": text,
        "values": values,
        "caution": [],
        "at": at,
        "not_stated": list(dict.fromkeys(missing)) if missing else missing,
        "from_maker": [one.name for one in step.maker if one.when is None or isinstance(words[one.when], str)],
    }


def stop(text: str, components: list[str], at: list[str], joint: str | None = None) -> Draft:
    """Return a step that says what must not be done."""
    return {
        "number": 0,
        "action": "stop",
        "components": components,
        "joint": joint,
        "text": text,
        "values": [],
        "caution": [],
        "at": at,
        "not_stated": [],
        "from_maker": [],
    }
