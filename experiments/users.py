"""Who does what: roles are checked in the use-cases, never only on a page."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from models.errors import WholeError

Role = Literal["read", "enter", "approve"]


class NotAllowed(WholeError, PermissionError):
    """The user has not the role that an action needs."""

    def __init__(self, user: User, role: Role) -> None:
        self.message = f"{user.name} may not {role} here."
        self.cure = "Ask somebody with that role, or have the role given to you."
        super().__init__(f"{self.message} {self.cure}")


@dataclass(frozen=True)
class User:
    """A person with roles; the local user of one's own machine has all of them."""

    name: str
    roles: frozenset[Role] = field(default_factory=lambda: frozenset(("read", "enter", "approve")))
    is_local: bool = False

    def must(self, role: Role) -> None:
        """Raise NotAllowed unless the user has ``role``."""
        if role not in self.roles:
            raise NotAllowed(self, role)
