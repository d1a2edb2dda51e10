"""Read a Containerfile and a .dockerignore as a container engine does, as far as ours go."""

import json
import re
from fnmatch import translate
from pathlib import PurePosixPath


def instructions(text):
    """Return the instructions of a Containerfile, each a word and its arguments.

    >>> instructions("FROM a AS b\\n# why\\nRUN c \\\\\\n  && d")
    [('FROM', 'a AS b'), ('RUN', 'c && d')]
    """
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    joined = re.sub(r"\s*\\\n\s*", " ", "\n".join(lines))
    return [(word, rest) for word, _, rest in (line.partition(" ") for line in joined.splitlines())]


def sent(paths, ignore):
    """Return the paths that a .dockerignore lets through: the last line that matches decides.

    A line matches a path, or a folder that the path is in; a `!` before it lets the path through.

    >>> sent(["a/b.py", "a/c/d.py", "e"], "# why\\n*\\n!a\\n**/c")
    ['a/b.py']
    """
    lines = [line for line in ignore.splitlines() if line and not line.startswith("#")]
    rules = [(_pattern(line.removeprefix("!")), line.startswith("!")) for line in lines]
    return [path for path in paths if _passes(path, rules)]


def _passes(path, rules):
    places = [path, *map(str, PurePosixPath(path).parents)]
    verdicts = [passes for matches, passes in rules if any(map(matches, places))]
    return verdicts[-1] if verdicts else True


def _pattern(line):
    """Return what matches a line: `*` is within one folder, `**/` any folders or none."""
    pieces = line.split("**/")
    within = [translate(piece).removeprefix("(?s:").removesuffix(r")\Z") for piece in pieces]
    return re.compile("(?:.*/)?".join(piece.replace(".*", "[^/]*") for piece in within)).fullmatch


def copied(paths, arguments):
    """Return the pairs of a path and the place it gets by the arguments of a COPY.

    >>> copied(["a/b.py", "c", "d"], "a e")
    [('a/b.py', 'e/b.py')]
    >>> copied(["c", "d"], "c d ./")
    [('c', 'c'), ('d', 'd')]
    """
    *sources, target = arguments.split()
    pairs = []
    for source in sources:
        name = PurePosixPath(source).name if target.endswith("/") else ""
        files = [path for path in paths if path == source]
        within = [path for path in paths if path.startswith(f"{source}/")]
        assert files or within, f"COPY {source}: no such file is sent"
        pairs += [(path, str(PurePosixPath(target, name))) for path in files]
        pairs += [(path, str(PurePosixPath(target, path[len(source) + 1 :]))) for path in within]
    return pairs


def command(found):
    """Return the words of the command that a container runs."""
    (words,) = (json.loads(rest) for word, rest in found if word == "CMD")
    return words
