"""Read exchange structures of ISO 10303-21 (clear text) as instances of entities, within limits.

Nothing recurses, and references are followed only where a caller asks for them.
"""

from __future__ import annotations

import codecs
import re
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, NamedTuple, NoReturn, TypeAlias

from rules.exchange.untrusted import UnreadableError, decode
from rules.quantities.work_limit import charge

__all__ = [
    "MAX_DEPTH",
    "MAX_DIGITS",
    "MAX_INSTANCES",
    "MAX_MEMBERS",
    "MAX_STRING",
    "BrokenInstanceError",
    "Enumeration",
    "ExchangeFile",
    "Instance",
    "Number",
    "Reference",
    "Value",
    "plain_text",
    "read_exchange_file",
]

MAX_INSTANCES: Final = 50_000
MAX_DEPTH: Final = 16
"""Deepest nesting of parentheses in the parameters of an instance."""
MAX_STRING: Final = 10_000
"""Longest string, in characters as written."""
MAX_MEMBERS: Final = 1000
"""Most members of one list."""
MAX_DIGITS: Final = 40
"""Longest number, in characters as written."""

_STEPS: Final = 25
"""Steps of work for each byte."""

# No possessive groups: Python 3.11.2 matches some that it must not.
_MARK: Final = re.compile(
    r"""
    (?: [ \t\r\n\f\v]++ | /\* [^*]*+ \*++ (?: [^*/] [^*]*+ \*++ )* / )*
    (?:
        (?P<text> ' (?: [^']++ | '' )* ' (?! ' ) )
      | (?P<reference> \#[0-9]++ )
      | (?P<sign> [(),;=$*] )
      | (?P<number> [+-]?[0-9]++ (?: \.[0-9]*+ (?: [Ee][+-]?[0-9]++ )? )? )
      | (?P<enumeration> \.[A-Za-z_][A-Za-z0-9_]*+\. )
      | (?P<word> !?[A-Za-z_][A-Za-z0-9_-]*+ )
      | (?P<binary> "[0-9A-Fa-f]*+" )
      | (?P<end> \Z )
    )
    """,
    re.VERBOSE,
)
_BLANK: Final = re.compile(r"(?:[ \t\r\n\f\v]++|/\*[^*]*+\*++(?:[^*/][^*]*+\*++)*/)*")


class Reference(int):
    """A reference to an instance, ``#12``."""


class Number(str):
    """A number as written."""

    __slots__ = ()


class Enumeration(str):
    """A value of an enumeration, without its points."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Typed:
    """A parameter with the name of its type."""

    name: str
    members: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class _Other:
    """A parameter that no reader uses: a derived value or a binary."""

    written: str


Value: TypeAlias = "str | Reference | Typed | _Other | tuple[Value, ...] | None"
"""A parameter: None where it is unset; a string as written, without its quotes."""


class Instance(NamedTuple):
    """An instance of an entity; ``at`` is its place in the text."""

    number: int
    entity: str
    parameters: tuple[Value, ...]
    at: int


class BrokenInstanceError(Exception):
    """A reference that leads nowhere, or to an instance that cannot be meant; ``line`` is where it stands."""

    def __init__(self, detail: str, line: int) -> None:
        self.detail = detail
        self.line = line
        super().__init__(f"line {line}: {detail}")


@dataclass(frozen=True, slots=True)
class ExchangeFile:
    """The schemas that a file names, and its instances by number in the order of the file."""

    schemas: tuple[str, ...]
    instances: Mapping[int, Instance]
    complex_instances: int
    """Number of instances of several entities at once, which are not read."""
    shapes: Mapping[str, tuple[str, ...]]
    _breaks: list[int] = field(repr=False)

    def line_of(self, instance: Instance) -> int:
        """Return the line of an instance, from 1."""
        return bisect_right(self._breaks, instance.at) + 1

    def of(self, *entities: str) -> Iterator[Instance]:
        """Yield the instances of these entities, in the order of the file."""
        return (one for one in self.instances.values() if one.entity in entities)

    def get(self, instance: Instance, name: str) -> Value:
        """Return a parameter by the name that it has in the schema.

        Raises :class:`BrokenInstanceError` where the number of parameters is not that of the entity.
        """
        names = self.shapes[instance.entity]
        if len(instance.parameters) != len(names):
            detail = f"{instance.entity} has {len(instance.parameters)} parameters, not {len(names)}"
            raise BrokenInstanceError(detail, self.line_of(instance))
        return instance.parameters[names.index(name)]

    def follow(self, instance: Instance, name: str, *entities: str) -> Instance:
        """Return the instance that a parameter refers to; :class:`BrokenInstanceError` if it is none of these."""
        return self.resolve(instance, self.get(instance, name), *entities)

    def resolve(self, instance: Instance, value: Value, *entities: str) -> Instance:
        """Return the instance of a reference that stands in ``instance``."""
        if not isinstance(value, Reference):
            raise BrokenInstanceError(f"{instance.entity} lacks a reference", self.line_of(instance))
        found = self.instances.get(value)
        if found is None:
            raise BrokenInstanceError(f"#{int(value)} does not exist", self.line_of(instance))
        if entities and found.entity not in entities:
            detail = f"#{int(value)} is {found.entity[:60]}, which {instance.entity} cannot refer to here"
            raise BrokenInstanceError(detail, self.line_of(instance))
        return found

    def text(self, instance: Instance, name: str) -> str | None:
        """Return a parameter that is a string, decoded; None where it is unset."""
        value = self.get(instance, name)
        if value is None:
            return None
        if type(value) is not str:
            raise BrokenInstanceError(f"{instance.entity} lacks a string", self.line_of(instance))
        try:
            return plain_text(value)
        except ValueError as error:
            raise BrokenInstanceError(str(error), self.line_of(instance)) from None


def read_exchange_file(data: bytes, shapes: Mapping[str, tuple[str, ...]]) -> ExchangeFile:
    """Read an exchange structure; ``shapes`` are the parameters of each entity that the caller reads.

    Raises :class:`~rules.exchange.untrusted.UnreadableError`.
    """
    charge(_STEPS * len(data))
    return _Reader(decode(data)).read(shapes)


class _Reader:
    def __init__(self, text: str) -> None:
        self._text = text
        # not in the stubs
        self._next: Callable[[], re.Match[str] | None] = _MARK.scanner(text).match  # type: ignore[attr-defined]
        self._found: re.Match[str] | None = None

    def read(self, shapes: Mapping[str, tuple[str, ...]]) -> ExchangeFile:
        self._expect("ISO-10303-21", ";")
        schemas = self._header()
        instances: dict[int, Instance] = {}
        skipped = 0
        self._expect("DATA", ";")
        while True:
            skipped += self._section(instances)
            self._step()
            if self._mark != "DATA":
                break
            self._expect(";")
        if self._mark != "END-ISO-10303-21":
            self._refuse("expected DATA or END-ISO-10303-21; other sections are not read")
        self._expect(";")
        if self._step() != "end":
            self._refuse("text follows the end of the exchange structure")
        breaks = [found.start() for found in re.finditer("\n", self._text)]
        return ExchangeFile(schemas, instances, skipped, shapes, breaks)

    def _header(self) -> tuple[str, ...]:
        self._expect("HEADER", ";")
        schemas: tuple[str, ...] = ()
        while self._step() == "word" and (name := self._mark) != "ENDSEC":
            self._expect("(")
            parameters = self._parameters()
            self._expect(";")
            if name == "FILE_SCHEMA" and len(parameters) == 1 and isinstance(parameters[0], tuple):
                schemas = tuple(one for one in parameters[0] if type(one) is str)
        if self._mark != "ENDSEC":
            self._refuse("expected an entity of the header or ENDSEC")
        self._expect(";")
        return schemas

    def _section(self, instances: dict[int, Instance]) -> int:
        """Read the instances of one section; return the number of complex ones, which are skipped."""
        skipped = 0
        while self._step() == "reference":
            at = self._at
            number = self._reference(self._mark)
            if number in instances:
                self._refuse(f"#{number} is defined twice")
            if len(instances) == MAX_INSTANCES:
                self._refuse(f"a file may hold {MAX_INSTANCES} instances", suitable=False)
            self._expect("=")
            if self._step() == "word":
                entity = self._mark.upper()
                self._expect("(")
                instances[number] = Instance(number, entity, self._parameters(), at)
            elif self._mark == "(":
                self._skip_complex()
                instances[number] = Instance(number, "", (), at)
                skipped += 1
            else:
                self._refuse("expected the name of an entity")
            self._expect(";")
        if self._mark != "ENDSEC":
            self._refuse("expected an instance or ENDSEC")
        self._expect(";")
        return skipped

    def _skip_complex(self) -> None:
        while self._step() == "word":
            self._expect("(")
            self._parameters()
        if self._mark != ")":
            self._refuse("expected the name of an entity")

    def _parameters(self) -> tuple[Value, ...]:
        """Return the parameters up to the parenthesis that closes them."""
        outer: list[tuple[str | None, list[Value]]] = []
        name: str | None = None
        members: list[Value] = []
        wanted = True  # whether a value may follow: after a parenthesis or a comma
        step = self._step
        while True:
            kind, mark = step(), self._mark
            if mark == ",":
                if wanted:
                    self._refuse("a value is missing before the comma")
                wanted = True
                continue
            if mark == ")":
                if wanted and members:
                    self._refuse("a value is missing after the comma")
                if not outer:
                    return tuple(members)
                value: Value = tuple(members) if name is None else Typed(name, tuple(members))
                name, members = outer.pop()
                members.append(value)
                wanted = False
                continue
            if not wanted:
                self._refuse("expected a comma or a closing parenthesis")
            if len(members) == MAX_MEMBERS:
                self._refuse(f"a list may have {MAX_MEMBERS} members", suitable=False)
            if kind == "word" or mark == "(":
                if kind == "word":
                    self._expect("(")
                outer.append((name, members))
                if len(outer) >= MAX_DEPTH:
                    self._refuse(f"parentheses are nested more than {MAX_DEPTH} deep", suitable=False)
                name, members = (mark.upper() if kind == "word" else None), []
                continue
            members.append(self._single(kind, mark))
            wanted = False

    def _single(self, kind: str, mark: str) -> Value:
        if kind == "text":
            if len(mark) > MAX_STRING + 2:
                self._refuse(f"a string may have {MAX_STRING} characters", suitable=False)
            return mark[1:-1]
        if kind == "reference":
            return self._reference(mark)
        if kind == "number":
            if len(mark) > MAX_DIGITS:
                self._refuse(f"a number may have {MAX_DIGITS} characters", suitable=False)
            return Number(mark)
        if kind == "enumeration":
            return Enumeration(mark[1:-1].upper())
        if mark == "$":
            return None
        if mark != "*" and kind != "binary":
            self._refuse("expected a value")
        return _Other(mark)

    def _reference(self, mark: str) -> Reference:
        if len(mark) > MAX_DIGITS:
            self._refuse(f"a number may have {MAX_DIGITS} characters", suitable=False)
        return Reference(mark[1:])

    def _step(self) -> str:
        """Go to the next token and return its kind."""
        found = self._next()
        if found is None:
            self._stop()
        self._found = found
        self._kind: str = found.lastgroup or ""
        self._mark: str = found[self._kind]
        return self._kind

    @property
    def _at(self) -> int:
        return 0 if self._found is None else self._found.start(self._kind)

    def _stop(self) -> NoReturn:
        """Refuse what no mark begins with."""
        ends = 0 if self._found is None else self._found.end()
        blank = _BLANK.match(self._text, ends)
        at = blank.end() if blank else ends
        begins = self._text[at : at + 2]
        unclosed = "string" if begins.startswith("'") else "comment" if begins == "/*" else None
        raise self._fault("unexpected character" if unclosed is None else f"a {unclosed} is not closed", at)

    def _expect(self, *marks: str) -> None:
        for mark in marks:
            self._step()
            if self._mark != mark:
                self._refuse(f"expected {mark}")

    def _refuse(self, detail: str, *, suitable: bool = True) -> NoReturn:
        raise self._fault(detail, self._at, suitable=suitable)

    def _fault(self, detail: str, at: int, *, suitable: bool = True) -> UnreadableError:
        return UnreadableError(
            detail,
            cause="malformed" if suitable else "unsuitable",
            line=self._text.count("\n", 0, at) + 1,
            column=at - self._text.rfind("\n", 0, at),
        )


_BREAKS: Final = re.compile(r"[\r\n]")
_DIRECTIVE: Final = re.compile(
    r"\\(?:(?P<slash>\\)|S\\(?P<upper>[ -~])|P(?P<page>[A-I])\\|X\\(?P<byte>[0-9A-F]{2})"
    r"|X2\\(?P<two>(?:[0-9A-F]{4})+)\\X0\\|X4\\(?P<four>(?:[0-9A-F]{8})+)\\X0\\|(?P<other>))"
)


def plain_text(written: str) -> str:
    r"""Return the characters of a string as written between its quotes.

    >>> plain_text("the shop''s 8\\X2\\00B0\\X0\\ collet")
    "the shop's 8° collet"

    Raises :class:`ValueError` for an unknown or broken directive.
    """
    text = _BREAKS.sub("", written).replace("''", "'")
    if "\\" not in text:
        return text
    page = 1

    def character(found: re.Match[str]) -> str:
        nonlocal page
        if found["slash"]:
            return "\\"
        if found["byte"]:
            return chr(int(found["byte"], 16))
        if found["page"]:
            page = ord(found["page"]) - ord("A") + 1
            return ""
        try:
            if found["upper"]:
                return codecs.decode(bytes([ord(found["upper"]) + 128]), f"iso8859_{page}")
            if found["two"]:
                return bytes.fromhex(found["two"]).decode("utf-16-be")
            if found["four"]:
                return bytes.fromhex(found["four"]).decode("utf-32-be")
        except UnicodeDecodeError:
            pass
        raise ValueError("a string has an unknown or broken directive after a backslash")

    return _DIRECTIVE.sub(character, text)
