"""What is said of urgency: what was seen, when and what followed, then what to do; and what stands with single findings."""

from collections.abc import Collection, Iterator, Mapping
from datetime import date

from babel.dates import format_date

from heartlevel.conclusions.findings import Finding
from heartlevel.conclusions.urgency.episodes import Urgency
from heartlevel.conclusions.urgency.events import HIGH, OTHER
from heartlevel.conclusions.urgency.following import Episode
from heartlevel.conclusions.urgency.levels import HISTORY, NONE, NOW, WITHIN_DAYS
from heartlevel.intake.recorded import SYMPTOM_BITS
from heartlevel.ruling.language.template import Voice, locale_of
from heartlevel.vocabulary import EPISODE_KINDS, SYMPTOMS, URGENCY_LEVELS

MATERNITY, PATIENT = "-maternity", "-patient"
AS_OF, NEWEST_DAY = COUNTED_FROM = ("as-of", "newest-day")
HOURS_APART = 120  # minutes, from which on a repeat is told by its day
# Steps in the place of a rule's own: where what it names is past, is older or was answered, or is for a maternity unit.
PAST_STEP, LATER_STEP, MATERNITY_STEP = "ask-about-past-episode", "see-within-days", "contact-maternity-unit"
# Steps that a level asks for, whatever the rule's own is; that of the same day gives way to one to be taken at once.
NOW_STEP, TODAY_STEP, AT_ONCE = "call-emergency-services", "see-today", "repeat-at-once"


def symptoms_named(bits: int) -> list[str]:
    """Return the names of the symptoms that bits stand for, in the vocabulary's order."""
    return [name for name in SYMPTOMS if bits & SYMPTOM_BITS[name]]


def to_do(urgency: Urgency, subject: int, level: int, audience: str = "") -> str:
    """Return what to do at a level, to the clinician or the person measured, in the request's language."""
    texts = _texts(urgency, subject)
    name, maternity = URGENCY_LEVELS[level], urgency.maternity[subject]
    return texts.get(f"{name}{MATERNITY * maternity}{audience}") or texts[f"{name}{audience}"]


def told(urgency: Urgency, subject: int) -> str:
    """Return the whole text to the clinician: the foremost episode, if there is any, and what to do."""
    episodes, level = urgency.episodes[subject], int(urgency.levels[subject])
    seen = _seen(urgency, episodes[0]) if episodes else ()
    return " ".join([*seen, to_do(urgency, subject, level)])


def counted_from(urgency: Urgency, subject: int) -> str:
    """Return from what day episodes are counted back."""
    return NEWEST_DAY if urgency.assessment.batch.requests[subject].as_of is None else AS_OF


def _texts(urgency: Urgency, subject: int) -> Mapping[str, str]:
    assessment = urgency.assessment
    return assessment.rules.wording[assessment.batch.requests[subject].language].urgency


def _seen(urgency: Urgency, episode: Episode) -> Iterator[str]:
    texts, kind = _texts(urgency, episode.subject), EPISODE_KINDS[episode.kind]
    symptoms, count = _words(urgency, episode), len(episode.rows) + episode.lost
    worst = _pair(urgency, episode, episode.worst) if episode.worst else ""
    lost = "seen-lost" if worst else "seen-lost-unknown"
    yield texts[lost if episode.lost else f"seen-{kind}"].format(
        count=count, worst=worst, when=_when(urgency, episode), symptoms=symptoms, titles=_titles(urgency, episode)
    )
    if symptoms and kind != "symptoms":
        yield texts["with-symptoms"].format(symptoms=symptoms)
    if episode.followed_by:
        yield _what_followed(urgency, episode)


def _words(urgency: Urgency, episode: Episode) -> str:
    assessment = urgency.assessment
    names = assessment.rules.wording[assessment.batch.requests[episode.subject].language].names
    return ", ".join(names.get(name, name.replace("-", " ")) for name in symptoms_named(episode.bits))


def _titles(urgency: Urgency, episode: Episode) -> str:
    """Return what the rules behind an episode are called, each once."""
    assessment = urgency.assessment
    rules = assessment.rules.wording[assessment.batch.requests[episode.subject].language].rules
    return ", ".join(dict.fromkeys(rules[urgency.firings[number].rule.id].title for number in episode.firings))


def _what_followed(urgency: Urgency, episode: Episode) -> str:
    repeat, texts = episode.followed_by, _texts(urgency, episode.subject)
    assert repeat is not None
    readings = urgency.assessment.batch.readings
    worst = _pair(urgency, episode, (readings["systolic"][repeat.row], readings["diastolic"][repeat.row]))
    key = "lower-repeat" if repeat.credited else "repeat-not-credited"
    if repeat.minutes >= HOURS_APART:
        return texts[f"{key}-later"].format(date=_date(urgency, episode, repeat.day), worst=worst)
    return texts[key].format(minutes=_voice(urgency, episode).shown(repeat.minutes, ""), worst=worst)


def _when(urgency: Urgency, episode: Episode) -> str:
    texts, batch = _texts(urgency, episode.subject), urgency.assessment.batch
    if episode.day != episode.day:
        return texts["when-unknown"]
    days, day = int(episode.days_ago), _date(urgency, episode, episode.day)
    undated = batch.requests[episode.subject].as_of is None
    key = "before-newest" if undated and days else {0: "same-day", 1: "day-before"}.get(days, "days-ago")
    return texts[f"when-{key}"].format(date=day, days=days)


def _date(urgency: Urgency, episode: Episode, day: float) -> str:
    language = urgency.assessment.batch.requests[episode.subject].language
    return format_date(date.fromordinal(int(day)), "long", locale_of(language))


def _pair(urgency: Urgency, episode: Episode, pressures: tuple[float, float]) -> str:
    voice = _voice(urgency, episode)
    return "/".join("?" if value != value else voice.shown(float(value), "") for value in pressures)


def _voice(urgency: Urgency, episode: Episode) -> Voice:
    return Voice(urgency.assessment.batch.requests[episode.subject].language)


def own_words(finding: Finding) -> bool:
    """Tell whether a finding's own advice holds: its episode is as urgent as the rule says by itself."""
    urgency = finding.rule.urgency
    if urgency is None or finding.episode is None:
        return True
    if finding.level == NONE:
        return finding.episode.kind != HIGH
    return finding.level == urgency.level and not finding.episode.maternity


def outdone(codes: Collection[str]) -> dict[str, str]:
    """Return, of urgent steps that stand beside a more urgent one that says otherwise, which one takes their place."""
    if NOW_STEP in codes:
        return {code: NOW_STEP for code in (AT_ONCE, TODAY_STEP, LATER_STEP) if code in codes}
    sooner = next((code for code in (MATERNITY_STEP, TODAY_STEP, AT_ONCE) if code in codes), None)
    return {LATER_STEP: sooner} if sooner and LATER_STEP in codes else {}


def step_of(finding: Finding) -> str | None:
    """Return the next step that a finding asks for."""
    step, episode = finding.rule.next_step, finding.episode
    if episode is None or not finding.rule.urgent:
        return step
    if episode.level >= HISTORY:
        return PAST_STEP if episode.level == HISTORY else step if episode.kind != HIGH else None
    if episode.maternity:
        return MATERNITY_STEP
    assert finding.rule.urgency is not None
    if episode.kind == OTHER and step is not None and episode.level <= finding.rule.urgency.level:
        return step  # the rule says itself what it is to come to
    if episode.level in (NOW, WITHIN_DAYS):
        return NOW_STEP if episode.level == NOW else LATER_STEP
    return AT_ONCE if step == AT_ONCE else TODAY_STEP
