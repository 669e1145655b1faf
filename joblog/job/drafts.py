"""Entries before they are written, and what else a sentence can lead to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from joblog.job.told import Choice
from joblog.job.wording import capital


@dataclass(frozen=True)
class Draft:
    """An entry to be appended: its kind, its body, and the entry that it corrects."""

    kind: str
    body: dict[str, Any]
    supersedes: str | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the draft as the body of a question keeps it."""
        return {"kind": self.kind, "body": self.body, "supersedes": self.supersedes}

    @staticmethod
    def from_json(fields: dict[str, Any]) -> Draft:
        """Return the draft that a question kept."""
        return Draft(str(fields["kind"]), dict(fields["body"]), fields.get("supersedes"))


@dataclass(frozen=True)
class Plan:
    """What to do: append ``drafts``, then answer.

    Without ``spoken`` the answer follows from what the drafts change. ``say_again`` asks for the
    last answer once more; ``wants_photo`` is (kind, phase) of a photo that should now be taken;
    ``replan`` is a sentence that was settled by an answer and is now to be acted upon, as said.
    ``lists`` says that the answer lists all findings that are open; ``choice`` is what it asks.
    """

    drafts: tuple[Draft, ...] = ()
    spoken: str = ""
    shown: str = ""
    tone: str = "ok"
    say_again: bool = False
    wants_photo: tuple[str, str] | None = None
    replan: str = ""
    lists: bool = False
    choice: Choice | None = None


def refusal(spoken: str, shown: str = "") -> Plan:
    """Return a plan that records nothing and says why."""
    return Plan(spoken=spoken, shown=shown or spoken, tone="warn")


CLOSED = refusal(
    "The job is closed.",
    "The job is closed; nothing more is recorded. What comes after it is a new job.",
)


def answer(spoken: str, shown: str = "") -> Plan:
    """Return a plan that records nothing and answers."""
    return Plan(spoken=spoken, shown=shown or spoken)


def value_question(
    question: str, options: list[str], drafts: list[Draft], tag: str, shown: str = ""
) -> Plan:
    """Return a plan that asks which of ``drafts`` was meant; nothing is recorded until answered."""
    body = {
        "question": question,
        "options": options,
        "about": "value",
        "tag": tag,
        "drafts": [draft.to_json() for draft in drafts],
    }
    return Plan((Draft("asked", body),), spoken=capital(question), shown=shown, tone="again")
