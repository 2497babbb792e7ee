"""Words about coming in that the command line and the bench app share."""

from __future__ import annotations

from setwright.bench.audit import Changed, Event

SENTENCES = {
    "way in opened": "opened a way in for a bench",
    "way in refused": "a way in was refused",
    "bench let in": "a bench was let in",
    "bench shut out": "shut out a bench",
    "signed in": "signed in",
    "signed out": "was signed out",
    "sign-in refused": "a sign-in was refused",
    "code given": "gave a code for the first sign-in",
    "PIN set": "set a PIN",
    "PIN taken away": "took away a PIN",
    "role changed": "changed a role",
    "added": "was noted as working here",
    "left": "noted that somebody left",
    "refused": "something was refused",
}


def event_words(event: Event) -> str:
    """What happened, in words.

    Args:
        event: it.
    Returns: e.g. "changed a role: Mara, from technician to lead".
    """
    said = SENTENCES.get(event.event, event.event)
    more = ", ".join(one for one in (event.about if event.about != event.who else "", event.words) if one)
    return f"{said}: {more}" if more else said


def changed_words(changed: Changed) -> str:
    """What somebody changed, in words.

    Args:
        changed: it.
    Returns: e.g. "Kestrel, visit: wish, kind".
    """
    fields = ", ".join(one.replace("_", " ") for one in changed.fields)
    what = f"{changed.about}, {changed.table}" if changed.about else changed.table
    return f"{what}: {fields or 'added'}"
