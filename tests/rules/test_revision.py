"""Changed rules have a new revision, and the list of revisions says so."""

import re

from heartlevel.resources import shipped
from support import rules

ENTRIES = re.findall(r"^## (\S+) (sha256:[0-9a-f]{64})$", (shipped("rules") / "CHANGELOG.md").read_text(), re.MULTILINE)


def test_the_newest_entry_is_that_of_the_rules_as_they_are():
    assert ENTRIES[0] == (rules().ruleset.revision, rules().ruleset.fingerprint)


def test_no_revision_is_used_twice():
    assert len({revision for revision, _ in ENTRIES}) == len(ENTRIES)
