"""What people run: they speak HTTP, and import neither `api` nor `analysis`.

A script finds the modules beside it by their plain names when it is run. So that it also does when
it is imported from this package, the folder is searched for modules as well.
"""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent))
