"""What is said wherever people act: usual cautions. The school's risk assessment decides."""

from api.messages import say

#: Cautions of one place, each a sentence.
Cautions = tuple[str, ...]


def decides() -> str:
    """Return who decides, whatever is said here."""
    return say("caution.decides")


def rotor() -> Cautions:
    """Return what is said where a rotor spins."""
    return (
        say("caution.rotor_plane"),
        say("caution.rotor_stop"),
        say("caution.first_run"),
        say("caution.blades_fixed"),
        say("caution.blades_alike"),
    )


def bench() -> Cautions:
    """Return what is said where a fan and a load are at work."""
    return say("caution.fan"), say("caution.load"), say("caution.adult")


def workshop() -> Cautions:
    """Return what is said where turbines are made."""
    return say("caution.cutting"), say("caution.glue"), say("caution.pvc")


def foot() -> Cautions:
    """Return the shortest of all, for the foot of a page."""
    return say("caution.before_each_test"), decides()


def everything() -> Cautions:
    """Return all that is said of making and testing."""
    return (*rotor(), *bench(), *workshop(), decides())


def event() -> Cautions:
    """Return what is said where official runs are held."""
    return (*rotor(), *bench(), decides())
