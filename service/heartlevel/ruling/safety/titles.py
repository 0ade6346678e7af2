"""Whether what layers call a category or a pattern says less than its limits: held against the words used below them."""

from collections.abc import Iterator, Sequence
from re import findall
from typing import NamedTuple

from heartlevel.profiles import Category, Guideline
from heartlevel.ruling.language.faults import Entry, KeyPath, RuleFault
from heartlevel.ruling.language.ruleset import Profile, RuleSet
from heartlevel.ruling.running.truth import TRUE
from heartlevel.ruling.safety.proof import copied, in_words
from heartlevel.ruling.safety.remarks import Unusual
from heartlevel.ruling.tools.reach import members_of, reached

SETTINGS = ("office", "home")  # of which guidelines have categories of their own
NOT_RAISED = "normal-in-both"  # the pattern


class Words(NamedTuple):
    """What one language calls pressures beneath the limit of hypertension, and those from it on."""

    beneath: frozenset[str]  # first words of titles
    raised: frozenset[str]  # all words of titles
    titles: frozenset[str]  # of raised categories

    def says_less(self, title: str) -> bool:
        """Say whether a title speaks of a pressure from the limit on as of one beneath it."""
        words = set(_words(title))
        return bool(words & self.beneath) and not words & self.raised


def understated(base: RuleSet, laid: RuleSet) -> Iterator[RuleFault | Unusual]:
    """Yield each title of layers that says less than its limits, or that nothing below them is called by."""
    for language in laid.wording:
        words = _known(base, language if language in base.wording else "en")
        for guideline in laid.guidelines.values():
            yield from _categories(base, laid, guideline, language, words)
    yield from _pattern_titles(base, laid)
    yield from _other_patterns(base, laid)


def _known(base: RuleSet, language: str) -> Words:
    calm: set[str] = set()
    raised: set[str] = set()
    for guideline in base.guidelines.values():
        for setting in SETTINGS:
            beneath, above = _parted(guideline, setting)
            calm |= {_called(base, language, category) for category in beneath}
            raised |= {_called(base, language, category) for category in above}
    words = frozenset(word for title in raised for word in _words(title))
    return Words(frozenset(_words(title)[0] for title in calm) - words, words, frozenset(raised))


def _called(ruleset: RuleSet, language: str, category: Category) -> str:
    return ruleset.wording[language].categories.get(category.title, category.title)


def _words(title: str) -> list[str]:
    return findall(r"[^\W\d_][\w-]*", title.casefold()) or [title.casefold()]


def _parted(guideline: Guideline, setting: str) -> tuple[Sequence[Category], Sequence[Category]]:
    """Return the categories beneath the limit of hypertension, and those from it on."""
    limit = guideline.raised_from(setting)
    categories = guideline.categories[setting]
    starts = [index for index, category in enumerate(categories) if (category.systolic, category.diastolic) == limit]
    first = starts[0] if starts else len(categories)
    return categories[:first], categories[first:]


def _categories(
    base: RuleSet, laid: RuleSet, guideline: Guideline, language: str, words: Words
) -> Iterator[RuleFault | Unusual]:
    for setting in SETTINGS:
        first = len(_parted(guideline, setting)[0])
        for index, category in enumerate(guideline.categories[setting][first:], start=first):
            title = _called(laid, language, category)
            if title in words.titles:
                continue
            kind, name, path = _written(laid, guideline, language, (setting, index, category))
            entry, limit = laid.entries[kind, name], f"{category.systolic:g}/{category.diastolic:g}"
            if words.says_less(title):
                detail = f"'{title}' says less than its limit, {limit}, from which on it is hypertension"
                yield entry.fault(path, "says-less", detail)
            elif language in base.wording:  # in a new language every title is new
                yield Unusual(
                    kind, name, entry, path, f"from {limit} on it is hypertension, and nothing below calls it '{title}'"
                )


def _written(
    laid: RuleSet, guideline: Guideline, language: str, listed: tuple[str, int, Category]
) -> tuple[str, str, KeyPath]:
    """Return where what a category is called in a language stands: kind, name and path."""
    setting, index, category = listed
    if category.title in laid.wording[language].categories:
        return "wording", language, ("categories", category.title)
    return "guideline", guideline.id, ("categories", setting, index)


def _pattern_titles(base: RuleSet, laid: RuleSet) -> Iterator[RuleFault | Unusual]:
    """Yield each title of a pattern that another pattern has below, and those that are new for rules from below."""
    patterns = {rule.id: rule.pattern for rule in base.rules["comparison"] if rule.pattern}
    for language in laid.wording.keys() & base.wording.keys():
        titles = {name: base.wording[language].rules[name].title for name in patterns}
        words = _known(base, language)
        for rule in laid.rules["comparison"]:
            title = laid.wording[language].rules[rule.id].title
            if not rule.pattern or titles.get(rule.id) == title:
                continue
            entry, path = _place_of_title(laid, rule.entry, rule.id, language)
            others = {titles[name].casefold() for name, pattern in patterns.items() if pattern != rule.pattern}
            if title.casefold() in others or (rule.pattern != NOT_RAISED and words.says_less(title)):
                yield entry.fault(path, "says-less", f"'{title}' is no title for the pattern {rule.pattern}")
            elif rule.id in patterns:
                yield Unusual("rule", rule.id, entry, path, f"the pattern {rule.pattern} would be called '{title}'")


def _place_of_title(laid: RuleSet, rule: Entry, name: str, language: str) -> tuple[Entry, KeyPath]:
    wording = laid.entries["wording", language]
    worded = ((wording.item.get("rules") or {}).get(name) or {}).get("title") is not None
    return (wording, ("rules", name, "title")) if worded else (rule, ("title",))


def _other_patterns(base: RuleSet, laid: RuleSet) -> Iterator[RuleFault]:
    """Yield each rule of layers that names one pattern where a rule below names another."""
    before = {rule.id: rule for rule in base.rules["comparison"]}
    profile: Profile = (laid.default_guideline, laid.guidelines[laid.default_guideline].protocol)
    below = (base.default_guideline, base.guidelines[base.default_guideline].protocol)
    for rule in laid.rules["comparison"]:
        if not rule.pattern or (rule.id in before and before[rule.id].condition == rule.condition):
            continue
        for other in before.values():
            if other.pattern in (None, rule.pattern):
                continue
            copies = copied(base, other, 0, below)
            together = laid.with_rules("comparison", (*copies, *members_of(laid, [rule])))
            both = [case for case in reached(together, [copies[-1], rule], profile) if case.outcomes == (TRUE, TRUE)]
            if both:
                patient = in_words(min(both, key=lambda case: case.cost), laid)
                detail = f"names {rule.pattern} where '{other.id}' names {other.pattern} below: {patient}"
                yield rule.entry.fault(("when",), "says-less", detail)
