"""The words that the layout itself needs: headings, column heads, the line under each page."""

from __future__ import annotations

from joblog.report.language import Language


def labels(t: Language) -> dict[str, str]:
    """Return every heading in the reader's language; HTML and PDF take them by these names."""
    return {
        "came_for": t.say("Why it came in"),
        "done": t.say("What we did"),
        "found": t.say("What we found"),
        "means": t.say("What it means"),
        "next": t.say("What comes next"),
        "next_due": t.say("Next service"),
        "or": t.say("or"),
        "watch": t.say("Until then, look out for:"),
        "nothing": t.say("Nothing recorded."),
        "people": t.say("Who did it"),
        "signature": t.say("Signature"),
        "pictures_front": t.say("What we saw"),
        "details": t.say("The details"),
        "details_lead": t.say("Every value, photo and spoken line behind the first page."),
        "measured": t.say("Measured against specified"),
        "what": t.say("What"),
        "value": t.say("Measured"),
        "specified": t.say("Specified"),
        "verdict": t.say("Verdict"),
        "how": t.say("How it is known"),
        "sure": t.say("How sure"),
        "at": t.say("Time"),
        "date": t.say("Date"),
        "tool": t.say("Tool"),
        "was": t.say("was"),
        "pictured": t.say("In pictures"),
        "steps": t.say("Order of work"),
        "number": t.say("No."),
        "step": t.say("Step"),
        "status": t.say("Status"),
        "step_details": t.say("Recorded with it"),
        "supplies": t.say("Parts and fluids"),
        "name": t.say("Name"),
        "part_number": t.say("Number or specification"),
        "amount": t.say("Amount"),
        "fitted": t.say("How fitted"),
        "evidence": t.say("Evidence"),
        "findings": t.say("Findings and how each ended"),
        "kind": t.say("Kind"),
        "finding": t.say("Finding"),
        "resolved": t.say("How it ended"),
        "explained": t.say("Explained to the customer"),
        "no_findings": t.say("Nothing was noticed that had to be resolved."),
        "corrections": t.say("Corrections"),
        "corrections_lead": t.say("The first value stays in the record; the later one counts."),
        "first_said": t.say("First recorded"),
        "counts": t.say("What counts"),
        "notes": t.say("Notes"),
        "cautions": t.say("Cautions for this job"),
        "source": t.say("Source"),
        "photos": t.say("All photos"),
        "photo": t.say("Photo"),
        "no_picture": t.say("no picture"),
        "history": t.say("Earlier services"),
        "service": t.say("Service"),
        "record": t.say("The record behind this report"),
        "final_hash": t.say("Final hash"),
        "conditions": t.say("Please note"),
        "page": t.say("Page {page} of {pages}"),
        "not_shown": t.say(
            "Letters shown as □ are in a script that this document's letters do not cover; "
            "the record attached inside has them."
        ),
    }
