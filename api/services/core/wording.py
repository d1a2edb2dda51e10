"""Make sentences about results from the catalogue: pairs, changes, probabilities."""

from collections.abc import Sequence

from api.messages import say
from api.messages.numbers import localised

TIMES_FROM = 200  # [%], above this a multiple is easier to understand
MOST_NAMED = 6  # teams in one sentence


def statement(key: str, **values: object) -> dict[str, str]:
    """Return the fields of a statement: a sentence and its key."""
    return {"sentence_key": key, "sentence": say(key, **values)}


def share(probability: float) -> str:
    """Return a probability in words that do not claim certainty.

    >>> share(0.714), share(0.002), share(0.9999)
    ('71 %', 'less than 1 %', 'over 99 %')
    """
    if probability > 0.99:
        return say("report_words.nearly_sure")
    if probability < 0.01:
        return say("report_words.nearly_never")
    return say("report_words.percent", value=f"{probability * 100:.0f}")


def pair(
    verdict: str, comparable: str, a: str, b: str, probability: float | None
) -> dict[str, str]:
    """Return the sentence about two builds; `probability` is that the better one is ahead."""
    sure = share(max(probability or 0.0, 1 - (probability or 0.0)))
    fields = statement(f"pair.{verdict}", a=a, b=b, sure=sure)
    if comparable == "rough":
        fields["sentence"] = say("pair.rough", pair=fields["sentence"])
    return fields


def link(needs: str, bench: str, teams: Sequence[str]) -> dict[str, str]:
    """Return the sentence about a missing link."""
    named, more = ", ".join(teams[:MOST_NAMED]), len(teams) - MOST_NAMED
    if more > 0:
        named = say("report_words.and_more", names=named, count=more)
    return statement(f"link.{needs}", bench=bench, teams=named)


def times(change_pct: float) -> str:
    """Return a change as a multiple, to be read before "times".

    >>> times(418.0), times(11680.0)
    ('5.2', '118')
    """
    ratio = 1 + change_pct / 100
    return localised(ratio, ".1f" if ratio < 10 else ".0f")


def change(
    builds: tuple[int, int],
    factor: str | None,
    effect: float,
    span: tuple[float, float],
    detectable: float,
    *,
    back_to_back: bool,
) -> dict[str, str]:
    """Return the sentence about a change: more, less, or not known yet."""
    older, newer = builds
    what = (
        say("report_change.one", older=older, newer=newer, factor=factor.replace("_", " "))
        if factor
        else say("report_change.several", older=older, newer=newer)
    )
    low, high = span
    if low > 0 and effect >= TIMES_FROM:
        multiple, least, most = (times(pct) for pct in (effect, low, high))
        return statement("change.times", what=what, times=multiple, low=least, high=most)
    if low > 0:
        return statement("change.more", what=what, effect=effect, low=low, high=high)
    if high < 0:
        return statement("change.less", what=what, effect=-effect)
    unclear = "change.unclear_together" if back_to_back else "change.unclear"
    return statement(unclear, what=what, detectable=detectable)
