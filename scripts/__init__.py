"""Scripts that people run: they use HTTP, and import neither `api` nor `analysis`.

When a script is run, it finds the modules in its folder by their plain names. The folder is also
added to the search path here, so that this works when a script is imported from the package.
"""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent))
