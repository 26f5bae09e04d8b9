"""``python -m diagnose`` is ``diagnose``."""

from diagnose.app import main

main()
