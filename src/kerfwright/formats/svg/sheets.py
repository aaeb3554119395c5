"""Style sheets inside the drawing: rules that match an element, in the order of the cascade.

Only what stands in the file counts; sheets outside are reported and not fetched. Conditions of
``@media`` that name a screen or nothing are true.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

import cssselect2  # type: ignore[import-untyped]
import tinycss2  # type: ignore[import-untyped]

from kerfwright.errors import UnreadableError
from kerfwright.formats.notes import Notes
from kerfwright.formats.svg.tree import SVG, Element, local_name
from kerfwright.formats.text import printable

_MEDIA: Final = ("", "all", "screen")
_TYPES: Final = ("", "text/css")
_SILENT: Final = (
    "charset",
    "font-face",
    "keyframes",
    "-webkit-keyframes",
    "page",
    "font-feature-values",
)
_TOO_DEEP: Final = "((...))"
_DEEPEST: Final = 8  # conditions within conditions


@dataclass(frozen=True, slots=True)
class Declaration:
    """One property with its value as text."""

    name: str
    value: str
    important: bool


@dataclass(slots=True)
class Sheets:
    """All rules of a drawing, and what matches each element."""

    notes: Notes
    file: str
    matcher: Any = field(default_factory=cssselect2.Matcher)
    namespaces: dict[str | None, str] = field(default_factory=dict)
    rules: int = 0
    found: dict[Element, list[list[Declaration]]] = field(default_factory=dict)

    def read(self, root: Element) -> None:
        """Read every ``style`` element, then look which elements its rules match."""
        for element in root.iter(f"{{{SVG}}}style", "style"):
            kind = (element.get("type") or "").partition(";")[0].strip().lower()
            media = (element.get("media") or "").strip().lower()
            if local_name(element) and kind in _TYPES and media in _MEDIA:
                text = "".join(element.itertext())
                self._take(tinycss2.parse_stylesheet(text, skip_comments=True), 0)
        if not self.rules:
            return
        try:
            for wrapped in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
                matches = self.matcher.match(wrapped)
                if matches:
                    kept = [payload for *_, pseudo, payload in matches if pseudo is None]
                    self.found[wrapped.etree_element] = kept
        except RecursionError:
            msg = (
                f"{self.file}: a style rule looks along more elements than a reader may be asked "
                "for; have the styles written to the elements themselves"
            )
            raise UnreadableError(msg) from None

    def _take(self, rules: Iterable[Any], depth: int) -> None:
        for rule in rules:
            if rule.type == "qualified-rule":
                self._take_rule(rule)
            elif rule.type == "at-rule":
                self._take_at_rule(rule, depth)
            elif rule.type == "error":
                self.notes.count("SVG-137", f"{printable(rule.message)[:60]}")

    def _take_rule(self, rule: Any) -> None:  # noqa: ANN401 - tinycss2 has no types
        try:
            selectors = cssselect2.compile_selector_list(rule.prelude, namespaces=self.namespaces)
        except (cssselect2.SelectorError, RecursionError):
            self.notes.count("SVG-137", f"selector {printable(_text(rule.prelude))[:40]}")
            return
        found = declarations(rule.content)
        for selector in selectors:
            self.matcher.add_selector(selector, found)
            self.rules += 1

    def _take_at_rule(self, rule: Any, depth: int) -> None:  # noqa: ANN401
        name = rule.lower_at_keyword
        prelude = _text(rule.prelude)
        if name == "import":
            self.notes.count("SVG-136", printable(prelude)[:60])
        elif name == "namespace":
            self._take_namespace(rule.prelude)
        elif name == "media" and rule.content is not None and depth < _DEEPEST:
            if any(part.strip().lower() in _MEDIA for part in prelude.split(",")):
                self._take(tinycss2.parse_rule_list(rule.content, skip_comments=True), depth + 1)
            else:
                self.notes.count("SVG-137", f"@media {printable(prelude)[:40]}")
        elif name not in _SILENT:
            self.notes.count("SVG-137", f"@{printable(name)[:40]}")

    def _take_namespace(self, prelude: list[Any]) -> None:
        prefix = next((t.value for t in prelude if t.type == "ident"), None)
        url = next((t.value for t in prelude if t.type in ("string", "url")), "")
        self.namespaces[prefix] = url

    def of(self, element: Element) -> list[list[Declaration]]:
        """Return the declarations of the rules that match, the weakest first."""
        return self.found.get(element, [])


def declarations(content: Any) -> list[Declaration]:  # noqa: ANN401 - text or tokens
    """Return the declarations of a rule or of an attribute ``style``."""
    parsed = tinycss2.parse_declaration_list(content, skip_comments=True, skip_whitespace=True)
    found = []
    for item in parsed:
        if item.type == "declaration":
            # Comments are taken out of values; in other respects they stay as written.
            value = _text([t for t in item.value if t.type != "comment"])
            found.append(Declaration(item.lower_name, value, bool(item.important)))
    return found


def _text(tokens: list[Any]) -> str:
    """Return tokens as text; brackets nested beyond reason are no value of anything."""
    try:
        return str(tinycss2.serialize(tokens)).strip()
    except RecursionError:
        return _TOO_DEEP
