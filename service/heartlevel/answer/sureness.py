"""How sure an answer is, in words: what would change its conclusion, and what to do next to be surer."""

from collections.abc import Mapping, Sequence

from heartlevel.statistics.alternatives import BY_PROTOCOL


def would_change(texts: Mapping[str, str], changing: Sequence[str], titles: Mapping[str, str]) -> str | None:
    """Return one sentence that names the alternatives which change the category; None where no text is written.

    `titles` are the protocols' by id.
    """
    sentence = texts.get("changes" if changing else "holds")
    if sentence is None:
        return None
    return sentence.replace("{alternatives}", "; ".join(_named(texts, one, titles) for one in changing))


def _named(texts: Mapping[str, str], name: str, titles: Mapping[str, str]) -> str:
    if name.startswith(BY_PROTOCOL):
        protocol = titles[name.removeprefix(BY_PROTOCOL)]
        return texts.get("by-protocol", name).replace("{protocol}", protocol)
    return texts.get(name, name)
