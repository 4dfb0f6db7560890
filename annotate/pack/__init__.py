"""The practice pack: the part as printed music, a practice sheet, and one page to click and listen through."""
