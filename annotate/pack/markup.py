"""HTML that escapes by its construction: a text that is no Html is never taken for markup."""

import base64
import hashlib
import json
from collections.abc import Mapping
from html import escape
from typing import Any

_VOID = frozenset({"meta", "input", "link", "br", "hr", "img"})


class Html(str):
    """Markup. Made by `tag`, by `joined`, or of what this program wrote itself."""

    __slots__ = ()


def tag(name: str, attributes: Mapping[str, str | bool] | None = None, *children: str) -> Html:
    """An element. attributes: True for one without a value, False for none; children: Html as it is, text escaped."""
    told = "".join(
        f" {key}" if value is True else f' {key}="{escape(str(value))}"'
        for key, value in (attributes or {}).items()
        if value is not False
    )
    if name in _VOID:
        return Html(f"<{name}{told}>")
    return Html(f"<{name}{told}>{joined(*children)}</{name}>")


def joined(*children: str) -> Html:
    """Html one after the other, text escaped."""
    return Html("".join(child if isinstance(child, Html) else escape(child, quote=False) for child in children))


def data(value: Any) -> Html:
    """JSON inside a page: nothing in it can end the element or begin another one."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Html(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e").replace("\u2028", "\\u2028")
                .replace("\u2029", "\\u2029"))  # fmt: skip


def digest(text: str) -> str:
    """What a content security policy calls this style or script."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
