"""How often Python looks for objects that refer to each other and that nobody else refers to."""

import gc


def collect_seldom() -> None:
    """Leave what there is now alone for good, and look through what comes later much more seldom than usual.

    Nearly all objects of a process are the ontology, the catalog and what is compiled from them.  They stay, and going
    through them over and over, as Python does unless told otherwise, takes a fifth of a first answer and now and then
    keeps a caller waiting for it.  Objects that nothing refers to are let go at once, with or without this.
    """
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)
