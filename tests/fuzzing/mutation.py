"""Inputs that are nearly right: copies with pieces changed, taken out, said twice or replaced by what hurts parsers."""

from collections.abc import Sequence
from random import Random

# What parsers of JSON, YAML, CSV, times, numbers and texts are known to stumble over.
HURTING = [
    b"", b"\x00", b"\xff", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\\ud800", b"\\u0000", b"null", b"true", b"[]", b"{}",
    b'""', b"0", b"-0", b"NaN", b"-Infinity", b"1e999", b"-1e-999", b"9" * 400, b"0x7f", b"1_000", b"1,5",
    b"[" * 3_000, b'{"a":' * 3_000, b'"', b"'", b"\\", b",", b":", b"\n", b"\r", b"\t", b"- ", b"? ", b"&a ", b"*a",
    b"<<: ", b"!!python/object/apply:os.system", b"|\n", b"#", b"%", b"---\n", b"2026-02-30T25:61:61+99:99",
    b"9999-12-31T23:59:59-23:59", b"0001-01-01T00:00:00+23:59", b"x" * 5_000, "\u202e\U0001f600".encode(),
    b"../../etc/passwd", b"__class__", b"{0.__class__}", b"%s%n", b"${x}", b"{{7*7}}", b"<script>", b"=1+1",
]  # fmt: skip


def damaged(right: bytes, others: Sequence[bytes], random: Random) -> bytes:
    """Return a copy with one to five things done to it; pieces may come from other right inputs."""
    content = bytearray(right)
    for _ in range(random.randint(1, 5)):
        first = random.randint(0, len(content))
        last = min(len(content), first + random.choice((0, 1, 2, 8, 64, 1_000)))
        match random.randrange(7):
            case 0:
                content[first:last] = random.choice(HURTING)
            case 1:
                del content[first:last]
            case 2:
                content[first:first] = content[first:last] * random.choice((1, 2, 50))
            case 3 if first < len(content):
                content[first] = random.randrange(256)
            case 4:
                del content[first:]
            case 5:
                other = random.choice(others)
                begin = random.randint(0, len(other))
                content[first:last] = other[begin : begin + random.choice((1, 8, 64, 1_000))]
            case _:
                content = _with_another_value(content, random)
    return bytes(content)


def _with_another_value(content: bytearray, random: Random) -> bytearray:
    """Put something that hurts between two of the signs that part values, so that what is around it stays right."""
    signs = [place for place, sign in enumerate(content) if sign in b':,[]{}"\n ']
    if len(signs) < 2:
        return content
    at = random.randrange(len(signs) - 1)
    content[signs[at] + 1 : signs[at + 1]] = random.choice(HURTING)
    return content
