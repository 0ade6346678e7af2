"""What the own file of a layer may hold, declared once."""

from heartlevel.intake.fields import Anything, Block, Items, Part, about, text
from heartlevel.ruling.files.fields import choice, flag, name
from heartlevel.ruling.files.schema import NEEDED, SENTENCES

OF = ("rule", "guideline", "protocol", "wording", "ruleset", "urgency", "fact")


class PartBlock(Block):
    """A part of a rule's condition: a fact or rule that it names once, or the condition as it stands there."""

    replace = Anything(**about("the part that another takes the place of"))
    with_ = Anything(data_key="with", **about("the condition in its place"))
    remove = Anything(**about("the part to take out"))
    add = Anything(**about("a condition that must hold as well"))
    beside = Anything(**about("the part whose group it is added to, where that is not the whole condition"))


class ChangeBlock(Block):
    """One change a clinic makes to the rules below its layer."""

    kind = choice(OF, "what is changed", data_key="of", **NEEDED)
    id = text("which one; the language for a wording", 60)
    off = flag("switch the rule, or the fact, off")
    set = Anything(**about("fields and their new values; mappings are merged, everything else is replaced"))
    parts = Items(Part(PartBlock), 20, **about("parts of a rule's `when` to replace, remove or add"))
    reason = text("why this clinic differs", SENTENCES, **NEEDED)


class NeedBlock(Block):
    """A layer that must lie below, and of which content."""

    id = name("the layer's id", **NEEDED)
    fingerprint = text("its own fingerprint, as `rules check` prints it", 80)


class UnusualBlock(Block):
    """Why something unusual is meant."""

    kind = choice(OF, "what is unusual", data_key="of", **NEEDED)
    id = text("which one", 60)
    reason = text("why it is meant", SENTENCES, **NEEDED)


class LayerBlock(Block):
    """What a clinic's own directory calls itself, and what it changes."""

    id = name("what it is replaced by and needed under; its name in small letters where absent")
    name = text("name of the clinic or of the layer", **NEEDED)
    needs = Items(Part(NeedBlock), 20, **about("layers that must lie below"))
    unusual = Items(Part(UnusualBlock), 100, **about("why what the checks call unusual is meant"))
    revision = text("raised with every change of content", **NEEDED)
    changes = Items(Part(ChangeBlock), 500, **about("changes to what lies below"))
