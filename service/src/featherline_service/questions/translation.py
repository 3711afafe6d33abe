"""Answers in the reader's language: each sentence that is made of a message, made anew in it.

Only what is made of a message changes. A book's own messages and the names of its records count in every language, in
English, too.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from typing import Any, Final, TypeVar

import msgspec
from msgspec import UNSET, Struct, UnsetType, inspect
from msgspec.structs import replace

from featherline.wire.catalogue import CatalogueLanguage
from featherline.wire.problems import Fault
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import CUSTOMERS, ENGLISH, catalogues, signatures
from featherline_service.messages.pseudo import CHANGES
from featherline_service.messages.texts import NameOf, Texts
from featherline_service.messages.values import Speaker
from featherline_service.questions.checks import FAULT

Answer = TypeVar("Answer", bound=Struct)

_SAID: Final = frozenset({"message", "parameters", "language"})
"""The fields beside a sentence that is made of a message."""
_MESSAGES: Final = "_messages"
_MESSAGE: Final = "_message"
_MOST_KEPT: Final = 64


@lru_cache(maxsize=_MOST_KEPT)
def languages(book: Book) -> tuple[str, ...]:
    """Return the languages that there are: the service's, the book's own, and the pseudo-locales."""
    return tuple(dict.fromkeys((*catalogues(), *(own.language for own in book.bench.messages), *CHANGES)))


@lru_cache(maxsize=_MOST_KEPT)
def texts(book: Book, language: str) -> Texts:
    """Return the messages of a language, with those of the book in place of the service's."""
    source = ENGLISH if language in CHANGES else language
    known = catalogues().get(source)
    own = {message.message: message.pattern for message in book.bench.messages if message.language == source}
    patterns = {**({} if known is None else known.messages), **own}
    return Texts(language, patterns, None if source == ENGLISH else texts(book, ENGLISH))


@lru_cache(maxsize=_MOST_KEPT)
def described(book: Book) -> tuple[CatalogueLanguage, ...]:
    """Return the languages for readers, and how far each can be relied on."""
    customers = [message for message in signatures() if message.startswith(CUSTOMERS)]
    return tuple(
        CatalogueLanguage(
            language=language,
            name=language if (known := catalogues().get(language)) is None else known.name,
            checked=known is not None and known.checked,
            lacks=sum(not texts(book, language).has(message) for message in customers),
        )
        for language in languages(book)
        if language not in CHANGES
    )


def translated(answer: Answer, book: Book, language: str) -> Answer:
    """Return an answer with its sentences in a language. In English it stays as it is, unless the book says otherwise.

    Args:
        answer: The answer.
        book: The book that it was computed by.
        language: One of its languages.
    """
    if language == ENGLISH and not book.bench.messages and not _has_names(book, ENGLISH):
        return answer
    changed: Answer = _changed(answer, texts(book, language), _names(book, language))
    return changed


def speaker(book: Book, language: str) -> Speaker:
    """Return who says messages in a language of a book, and records by their names in it."""
    return Speaker(texts(book, language), _names(book, language))


def translated_faults(faults: tuple[Fault, ...], book: Book, language: str) -> tuple[Fault, ...]:
    """Return the faults of a request with their details in a language, as `translated` does."""
    return translated(_Faults(faults), book, language).faults


class _Faults(Struct, frozen=True):
    faults: tuple[Fault, ...]


def _changed(value: Any, words: Texts, name_of: NameOf) -> Any:  # noqa: ANN401 - a part of an answer
    if isinstance(value, tuple):
        return tuple(_changed(item, words, name_of) for item in value)
    if not isinstance(value, Struct):
        return value
    if isinstance(value, Fault):
        return _fault(value, words, name_of)
    if is_said(type(value)):
        return _said(value, words, name_of)
    changes = {
        name: changed
        for name in _fields(type(value))
        if (changed := _changed(part := getattr(value, name), words, name_of)) is not part
    }
    for name, changed in [*changes.items()]:
        # Fields that have sentences alone follow their messages.
        if name.endswith(_MESSAGES):
            changes[name.removesuffix(_MESSAGES)] = tuple(message.sentence for message in changed)
        elif name.endswith(_MESSAGE) and changed is not None:
            changes[name.removesuffix(_MESSAGE)] = changed.sentence
    return replace(value, **changes) if changes else value


@cache
def is_said(type_: type[Struct]) -> bool:
    """Return whether a type has a sentence, its message and the values that it is made of."""
    return set(type_.__struct_fields__) >= _SAID


def _said(reason: Any, words: Texts, name_of: NameOf) -> Any:  # noqa: ANN401 - of a type that `is_said`
    """Return a reason with its sentence in a language; one that has no message keeps its sentence, of no language."""
    message = reason.message or getattr(reason, "code", "")
    if not words.knows(message):
        return reason
    sentence = words.say(message, reason.parameters, name_of)
    language: str | UnsetType = UNSET if sentence.language is None else sentence.language
    return replace(reason, sentence=sentence.text, language=language)


def _fault(fault: Fault, words: Texts, name_of: NameOf) -> Fault:
    """Return a fault with its detail in a language; one that has no message is in English, and says so."""
    message = f"{FAULT}{fault.code}"
    if not words.knows(message):
        return fault if words.language == ENGLISH else replace(fault, language=ENGLISH)
    sentence = words.say(message, fault.parameters, name_of)
    language: str | UnsetType = UNSET if sentence.language is None else sentence.language
    return replace(fault, detail=sentence.text, language=language)


@cache
def _fields(type_: type[Struct]) -> tuple[str, ...]:
    """Return the fields of a type that may have a sentence in them."""
    return tuple(
        field.name
        for field, of in zip(msgspec.structs.fields(type_), inspect.type_info(type_).fields, strict=True)  # type: ignore[attr-defined] # of a struct
        if _holds_sentences(of.type, frozenset())
    )


def _holds_sentences(type_: inspect.Type, within: frozenset[type]) -> bool:
    match type_:
        case inspect.Metadata():
            return _holds_sentences(type_.type, within)
        case inspect.UnionType():
            return any(_holds_sentences(member, within) for member in type_.types)
        case inspect.VarTupleType():
            return _holds_sentences(type_.item_type, within)
        case inspect.StructType(cls=cls):
            if cls is Fault or is_said(cls):
                return True
            return cls not in within and any(_holds_sentences(of.type, within | {cls}) for of in type_.fields)
        case _:
            return False


def _has_names(book: Book, language: str) -> bool:
    return bool(_local_names(book).get(language))


@lru_cache(maxsize=_MOST_KEPT)
def _local_names(book: Book) -> Mapping[str, Mapping[tuple[str, str], str]]:
    """Return by language the names of the records that have one, by kind and id."""
    names: dict[str, dict[tuple[str, str], str]] = {}
    for kind, shelf in (("films", book.films), ("shoes", book.shoes)):
        for record in shelf.values():
            for local in record.names:
                names.setdefault(local.language, {})[kind, record.id] = local.name
    return names


def _names(book: Book, language: str) -> NameOf:
    local = _local_names(book).get(language, {})

    def name_of(kind: str, id_: str) -> str:
        name = local.get((kind, id_))
        if name is not None:
            return name
        record = getattr(book, kind).get(id_)
        return id_ if record is None else str(record.name)  # of a stack that the request describes

    return name_of
