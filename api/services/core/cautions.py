"""The usual cautions for people at work. The school's risk assessment decides."""

from api.messages import say

#: Cautions of one place, each a sentence.
Cautions = tuple[str, ...]


def decides() -> str:
    """Return the sentence that the school's risk assessment decides."""
    return say("caution.decides")


def rotor() -> Cautions:
    """Return the cautions for a spinning rotor."""
    return (
        say("caution.rotor_plane"),
        say("caution.rotor_stop"),
        say("caution.first_run"),
        say("caution.blades_fixed"),
        say("caution.blades_alike"),
    )


def bench() -> Cautions:
    """Return the cautions for a bench with a fan and a load."""
    return say("caution.fan"), say("caution.load"), say("caution.adult")


def workshop() -> Cautions:
    """Return the cautions for building turbines."""
    return say("caution.cutting"), say("caution.glue"), say("caution.pvc")


def foot() -> Cautions:
    """Return the shortest cautions, for the foot of a page."""
    return say("caution.before_each_test"), decides()


def everything() -> Cautions:
    """Return all cautions for building and testing."""
    return (*rotor(), *bench(), *workshop(), decides())


def event() -> Cautions:
    """Return the cautions for official runs."""
    return (*rotor(), *bench(), decides())
