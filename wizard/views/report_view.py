"""x."""


def render(session):
    pass
