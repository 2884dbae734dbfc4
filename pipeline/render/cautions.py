"""The cautions that every sheet carries where the danger is, in one wording."""

from pipeline.published.sentences import Texts


def every_page(t: Texts) -> tuple[str, str, str]:
    """What this is; that not inspected is not low; how far the ratings go."""
    return t.word("caution", "aid"), t.word("caution", "not_low"), t.word("caution", "evidence")


def do_not_climb(t: Texts) -> str:
    """What stands beside them where a tree must not be climbed."""
    return t.word("caution", "do_not_climb")
