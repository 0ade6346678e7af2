"""The originals of all texts, and a language's own texts, by their path in a wording file."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import lru_cache
from hashlib import sha256
from itertools import chain
from typing import Any, TypeAlias

from heartlevel.facts.catalogue import CATALOGUE, Fact
from heartlevel.ruling.files.source import mapping
from heartlevel.ruling.language.rules import Rule
from heartlevel.ruling.language.template import NO, NOT_RECORDED, YES
from heartlevel.vocabulary import SYMPTOMS

TextPath: TypeAlias = tuple[str, ...]  # such as ("rules", "legs-crossed", "title")
Texts: TypeAlias = Mapping[TextPath, str]

TEXTS = (
    "next_steps",
    "next_steps_for_patient",
    "names",
    "categories",
    "urgency",
    "sureness",
    "summary",
    "follow_up",
    "pages",
)
CAUTIONS, CONCLUSION, RULES = "cautions", "conclusion", "rules"
TO_CLINICIAN, PATIENT = ("title", "explanation", "advice"), "patient"
PARTS = ("next_steps", "next_steps_for_patient", CAUTIONS, CONCLUSION, "summary", "names", "categories", "urgency",
         "sureness", "follow_up", "pages", RULES)  # fmt: skip
LETTERS, LENGTH = "abcdefghijklmnop", 8
MOST_TEXTS = 8192  # looked at once: the same texts are held against their originals under each layer


def values_told(catalogue: Mapping[str, Fact] = CATALOGUE) -> frozenset[str]:
    """Return the values that a sentence can show and a language may have words for."""
    return frozenset(chain([YES, NO, NOT_RECORDED], SYMPTOMS, *(fact.names for fact in catalogue.values())))


@lru_cache(maxsize=MOST_TEXTS)
def fingerprint(text: str) -> str:
    """Return a text's fingerprint: eight letters, the same however its lines are broken."""
    digest = sha256(" ".join(text.split()).encode()).hexdigest()
    return "".join(LETTERS[int(digit, 16)] for digit in digest[:LENGTH])


def texts_in(item: Mapping[str, Any]) -> dict[TextPath, str]:
    """Return the texts of a wording file by path, in the order of its parts; cautions by their number."""
    listed = {**item, CAUTIONS: _numbered(item.get(CAUTIONS))}
    return dict(chain.from_iterable(_leaves(listed.get(part), (part,)) for part in PARTS))


def _leaves(value: Any, path: TextPath) -> Iterator[tuple[TextPath, str]]:
    if isinstance(value, str):
        yield path, value
    for name, inner in mapping(value).items():
        yield from _leaves(inner, (*path, str(name)))


def _numbered(texts: Any) -> dict[str, Any]:
    return {str(number): text for number, text in enumerate(texts if isinstance(texts, list) else (), start=1)}


def originals(
    default: Mapping[str, Any], rules: Iterable[Rule], titles: Collection[str], catalogue: Mapping[str, Fact]
) -> dict[TextPath, str]:
    """Return every text that a language can say, as the default language and the rules say it.

    `default` is the default language's wording, `titles` are those of all categories. What a rule says to the person is
    its advice where the default language has nothing plainer.
    """
    own = texts_in(default)
    whole = {path: text for path, text in own.items() if path[0] not in (RULES, "names", "categories")}
    names = (("names", value) for value in sorted(values_told(catalogue)))
    whole |= {path: own.get(path, path[1].replace("-", " ")) for path in names}
    whole |= {("categories", title): title for title in sorted(titles)}
    for rule in rules:
        written = mapping(rule.entry.item)
        texts = {key: written[key] for key in TO_CLINICIAN} | {PATIENT: written["advice"]}
        whole |= {(RULES, rule.id, key): own.get((RULES, rule.id, key), text) for key, text in texts.items()}
    return _in_order(whole, own)


def _in_order(whole: dict[TextPath, str], own: Texts) -> dict[TextPath, str]:
    """Return texts part by part, those of rules in the order in which the default language has them."""
    ranks = {name: number for number, name in enumerate(dict.fromkeys(path[1] for path in own if path[0] == RULES))}
    last = len(ranks)

    def rank(path: TextPath) -> tuple[int, int]:
        return PARTS.index(path[0]), ranks.get(path[1], last) if path[0] == RULES else 0

    return {path: whole[path] for path in sorted(whole, key=rank)}
