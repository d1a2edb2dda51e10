"""Colours and shapes of series, and the style sheet of all charts.

The colours differ with the common kinds of colour blindness (after Okabe and Ito, 2008, darker
on light paper and lighter on dark paper), and each has a contrast of at least 4.5 : 1.
"""

from collections.abc import Sequence

#: The colours of series on light and on dark paper.
ON_LIGHT = ("#0072b2", "#c44e00", "#007a59", "#a8478a", "#b0153f", "#8a6100", "#5b4a9e", "#4d4d4d")
ON_DARK = ("#62b5ee", "#ff9250", "#35c79b", "#e79ccb", "#ff8fa3", "#e9b93f", "#b9a8ff", "#c8c8c8")
#: Seven shapes: with eight colours, the first 56 series differ in colour or in shape.
SHAPES = ("circle", "square", "triangle", "diamond", "down", "cross", "ring")
COLOURS = len(ON_LIGHT)
ALL = COLOURS * len(SHAPES)


def distinguished(series: Sequence[int]) -> list[int]:
    """Return numbers of series with the same shapes, whose colours differ as long as there are any.

    >>> distinguished([3, 11, 4])  # 3 and 11 have the same colour
    [3, 18, 4]
    """
    chosen: list[int] = []
    for number in series:
        taken = {each % COLOURS for each in chosen}
        every = (number + step * len(SHAPES) for step in range(COLOURS))
        chosen.append(next((each % ALL for each in every if each % COLOURS not in taken), number))
    return chosen


_ALWAYS = (
    ".chart text { font: 14px system-ui, sans-serif; fill: currentColor; }",
    ".chart .end { text-anchor: end; } .chart .mid { text-anchor: middle; }",
    ".chart .name { font-weight: 600; } .chart .unit { opacity: .8; }",
    ".chart .axis { stroke: currentColor; fill: none; }",
    ".chart .grid { stroke: currentColor; stroke-opacity: .16; fill: none; }",
    ".chart .lead { stroke: currentColor; stroke-opacity: .45; fill: none; }",
    ".chart .dash { stroke-dasharray: 5 4; } .chart .line { fill: none; stroke-width: 2; }",
    ".chart .band { fill: currentColor; fill-opacity: .1; }",
    ".chart .open { fill: currentColor; fill-opacity: .08; stroke-width: 2; }",
    ".chart .span { stroke-width: 3; stroke-opacity: .6; fill: none; }",
    ".chart .ring { fill: none; stroke-width: 2.5; }",
)


def style_of(colours: tuple[str, ...]) -> str:
    """Return the rules of the series' colours: `cN` is a stroke, `fN` is filled, `tN` is text."""
    return " ".join(
        f".chart .c{at} {{ stroke: {each}; }} .chart .f{at} {{ fill: {each}; stroke: {each}; }} "
        f".chart text.t{at} {{ fill: {each}; }}"
        for at, each in enumerate(colours)
    )


#: The style sheet of a page with charts; an SVG file of its own has the light colours only.
STYLE = "\n".join(
    (*_ALWAYS, style_of(ON_LIGHT),
     f"@media (prefers-color-scheme: dark) {{ {style_of(ON_DARK)} }}",
     f"@media print {{ {style_of(ON_LIGHT)} }}")
)  # fmt: skip
FILE_STYLE = "\n".join((*_ALWAYS, style_of(ON_LIGHT)))
