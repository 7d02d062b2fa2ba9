"""`python -m tests.docs` writes the parts of the pages that are made from the code; with `outputs`,
what the commands print in their examples, too."""

import os
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.docs.blocks import PAGES, ROOT
from tests.docs.generated import write
from tests.docs.outputs import renew

write()
if sys.argv[1:] == ["outputs"]:
    for page in PAGES:
        with TemporaryDirectory() as folder:
            for name in ("scenarios", "docs"):
                (Path(folder) / name).symlink_to(ROOT / name)
            os.chdir(folder)
            renew(page)
            os.chdir(ROOT)
