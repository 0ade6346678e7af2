"""Pages of a whole run, one a subject, written beside what else it writes."""

from collections.abc import Iterator
from dataclasses import replace
from hashlib import blake2b
from pathlib import Path
from re import ASCII
from re import compile as pattern

from heartlevel.bulk.parts.parts import BulkPart
from heartlevel.bulk.running.carrying_out import Judge, Judgements
from heartlevel.bulk.running.judging import MakePages, Plan
from heartlevel.bulk.wrong_call import WrongCall

PAGE, PRINTED = ".html", ".pdf"
ODD = pattern(r"[^\w.-]|^\.", ASCII)  # in the name of a file


def handing_out(judge: Judge, pages: MakePages, output: Path) -> Judge:
    """Return who judges as `judge` does, and writes a page for each subject.

    `output` is a file for one subject, if its name ends as a page's does, else a folder with a file for each.
    """
    written = set[Path]()

    def judge_and_hand_out(plan: Plan, parts: Iterator[BulkPart]) -> Judgements:
        for part, judged in judge(replace(plan, pages=(*plan.pages, pages)), parts):
            for subject, content in judged.pages[len(plan.pages)]:
                path = _path(output, subject, written)
                path.parent.mkdir(exist_ok=True, parents=True)
                path.write_bytes(content)
            yield part, judged

    return judge_and_hand_out


def _path(output: Path, subject: str, written: set[Path]) -> Path:
    """Return where a subject's page goes. Raises WrongCall where one file would have to hold those of several."""
    if output.suffix in (PAGE, PRINTED):
        path = output
        if path in written:
            raise WrongCall(f"{output}: there are several people; name a folder, with a page for each")
    else:
        path = output / f"{file_name(subject)}{PAGE}"
        if path in written:
            path = path.with_stem(f"{path.stem}-{len(written) + 1}")
    written.add(path)
    return path


def file_name(subject: str) -> str:
    """Return a name for a file: the subject's, or, where that can be none, what is left of it with a mark of its own."""
    plain = ODD.sub("_", subject)
    if plain == subject:
        return plain
    return f"{plain}-{blake2b(subject.encode('utf-8', 'surrogatepass'), digest_size=4).hexdigest()}"
