"""What is raised where a call cannot be carried out."""


class WrongCall(Exception):
    """The call cannot be carried out as it stands; the text says why, and holds no value of any reading."""
