"""for_each and parts: short forms that are written out before anything else looks at a file."""

import difflib
import re
from collections.abc import Iterable, Iterator

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.gait.nodes import Item, Listing, Mapping, Text, walk

MOST_ITEMS = 200_000
MOST_CHARACTERS = 10_000_000  # of the texts in which something was put in
LONGEST_VALUE = 60  # of a <variable>; names are no longer
_VARIABLE = re.compile(r"<([A-Za-z][A-Za-z0-9_]*)>")
Binding = dict[str, str]


class TooManyItems(Exception):
    """The written-out file would be too large; `place` is the for_each or use that went over."""

    def __init__(self, place: Place) -> None:
        super().__init__()
        self.place = place


class Expander:
    """Writes out one file's tree; `findings` collects what is wrong with its short forms."""

    def __init__(self) -> None:
        self.findings: list[Finding] = []
        self.vanished: list[re.Pattern[str]] = []
        self.overran = False  # the file would be too large, and nothing else can be said about it
        self.items = 0
        self.characters = 0

    def error(self, code: str, place: Place, message: str, *, expected: str = "", fix: str = "") -> None:
        """Note an error."""
        self.findings.append(Finding(code, Severity.ERROR, place, message, expected=expected, fix=fix))

    def expand(self, root: Item) -> Item:
        """Write out every for_each, then every use of a part."""
        try:
            root = self._for_each(root)
            return self._parts(root) if isinstance(root, Mapping) else root
        except TooManyItems as error:
            self.overran = True
            self.error(
                "too-large",
                error.place,
                f"written out, the file has more than {MOST_ITEMS:,} values",
                expected="shorter lists under for_each",
            )
            return Mapping((), root.place)

    def _count(self, place: Place) -> None:
        self.items += 1
        if self.items > MOST_ITEMS:
            raise TooManyItems(place)

    def substitute(self, item: Item, binding: Binding) -> Item:
        """Replace every ``<name>`` of the binding in keys and values. Raises TooManyItems."""
        if isinstance(item, Text):
            return self._text(item, binding)
        if isinstance(item, Listing):
            return Listing(tuple(self.substitute(child, binding) for child in item.items), item.place)
        entries = [(self._text(key, binding), self.substitute(child, binding)) for key, child in item.entries]
        return Mapping(tuple(entries), item.place)

    def _text(self, text: Text, binding: Binding) -> Text:
        if "<" not in text.value:
            return text
        value = _VARIABLE.sub(lambda m: binding.get(m[1], m[0]), text.value)
        self.characters += len(value)
        if self.characters > MOST_CHARACTERS:
            raise TooManyItems(text.place)
        return Text(value, text.plain, text.place)

    def _for_each(self, item: Item) -> Item:
        self._count(item.place)
        if isinstance(item, Text):
            return item
        if isinstance(item, Listing):
            items = [new for child in item.items for _, new in self._copies(None, child)]
            return Listing(tuple(items), item.place)
        entries: list[tuple[Text, Item]] = []
        first: dict[str, Place] = {}
        for key, child in item.entries:
            for new_key, new in self._copies(key, child):
                assert new_key is not None
                if new_key.value in first:
                    self.error(
                        "duplicate-key",
                        new_key.place,
                        f"{new_key.value[:LONGEST_VALUE]} comes up twice once for_each is written out",
                        expected="a name with a <variable> in it",
                        fix="name it, for example, <leg>_lift",
                    )
                    continue
                first[new_key.value] = new_key.place
                entries.append((new_key, new))
        return Mapping(tuple(entries), item.place)

    def _copies(self, key: Text | None, child: Item) -> Iterator[tuple[Text | None, Item]]:
        spec = child.get("for_each") if isinstance(child, Mapping) else None
        if spec is None:
            yield key, self._for_each(child)
            return
        assert isinstance(child, Mapping)
        body = child.without("for_each")
        bindings = self._bindings(spec)
        if not bindings and key is not None:
            self._vanish([key.value])
        for binding in bindings:
            new_key = self._text(key, binding) if key is not None else None
            yield new_key, self._for_each(self.substitute(body, binding))

    def _vanish(self, templates: Iterable[str]) -> None:
        """Note names that are missing now, so that nobody is told that they are unknown."""
        for template in templates:
            pieces = _VARIABLE.split(template)[::2]
            self.vanished.append(re.compile(r"\w+".join(re.escape(piece) for piece in pieces)))

    def _bindings(self, spec: Item) -> list[Binding]:
        wanted = "for_each: {leg: [left, right]}"
        if not isinstance(spec, Mapping) or not spec.entries:
            self.error("wrong-type", spec.place, "for_each needs a name with a list", expected=wanted)
            return []
        lists: dict[str, list[str]] = {}
        for key, values in spec.entries:
            if not isinstance(values, Listing) or not all(isinstance(v, Text) for v in values.items):
                message = f"{key.value[:LONGEST_VALUE]} needs a list of words"
                self.error("wrong-type", values.place, message, expected=wanted)
                return []
            lists[key.value] = [v.value for v in values.items if isinstance(v, Text)]
            long = next((v for v in values.items if isinstance(v, Text) and self._is_long(v)), None)
            if long is not None:
                return []
        if not all(lists.values()):
            self.error("missing-key", spec.place, "a list under for_each is empty", expected=wanted)
            return []
        lengths = {len(values) for values in lists.values()}
        if len(lengths) != 1:
            said = ", ".join(f"{name[:20]} has {len(values)}" for name, values in list(lists.items())[:8])
            self.error(
                "wrong-type",
                spec.place,
                f"the lists under for_each differ in length: {said}",
                expected="lists of the same length; they are taken side by side",
            )
            return []
        return [dict(zip(lists, row, strict=True)) for row in zip(*lists.values(), strict=True)]

    def _is_long(self, value: Text) -> bool:
        if len(value.value) <= LONGEST_VALUE:
            return False
        expected = f"at most {LONGEST_VALUE} characters"
        self.error("bad-name", value.place, "this is too long to become part of a name", expected=expected)
        return True

    # parts

    def _parts(self, root: Mapping) -> Item:
        parts = root.get("parts")
        known = {key.value: part for key, part in parts.entries} if isinstance(parts, Mapping) else {}
        renamed: Binding = {}
        entries = []
        for key, child in root.entries:
            if key.value == "phases" and isinstance(child, Mapping):
                child = self._uses(child, known, renamed)  # noqa: PLW2901 - the written-out form takes its place
            elif key.value == "sequences" and isinstance(child, Mapping):
                child = self._in_sequences(child, known)  # noqa: PLW2901
            entries.append((key, child))
        root = Mapping(tuple(entries), root.place)
        return _retarget(root, renamed) if renamed else root

    def _in_sequences(self, sequences: Mapping, known: dict[str, Item]) -> Mapping:
        entries: list[tuple[Text, Item]] = []
        for name, sequence in sequences.entries:
            phases = sequence.get("phases") if isinstance(sequence, Mapping) else None
            if isinstance(sequence, Mapping) and isinstance(phases, Mapping):
                renamed: Binding = {}
                new = self._uses(phases, known, renamed)
                pairs = tuple((k, new if k.value == "phases" else v) for k, v in sequence.entries)
                sequence = Mapping(pairs, sequence.place)  # noqa: PLW2901
                sequence = _retarget(sequence, renamed) if renamed else sequence  # noqa: PLW2901
            entries.append((name, sequence))
        return Mapping(tuple(entries), sequences.place)

    def _uses(self, phases: Mapping, known: dict[str, Item], renamed: Binding) -> Mapping:
        entries: list[tuple[Text, Item]] = []
        taken: dict[str, Place] = {}
        for key, phase in phases.entries:
            use = phase.get("use") if isinstance(phase, Mapping) else None
            new = [(key, phase)]
            if isinstance(phase, Mapping) and use is not None:
                new = self._use(key, phase, use, known)
                if new:
                    renamed[key.value] = new[0][0].value
                else:
                    self._vanish([key.value, *_phase_names(known.values())])
            for name, body in new:
                self._count(key.place)
                if name.value in taken:
                    self.error(
                        "duplicate-key",
                        name.place,
                        f"phase {name.value[:LONGEST_VALUE]} comes up twice once the parts are written out",
                        expected="a part whose phase names hold one of its <variables>",
                    )
                    continue
                taken[name.value] = name.place
                entries.append((name, body))
        return Mapping(tuple(entries), phases.place)

    def _use(self, key: Text, phase: Mapping, use: Item, known: dict[str, Item]) -> list[tuple[Text, Item]]:
        extra = phase.without("use", "with", "then").entries
        if extra:
            self.error(
                "unknown-key",
                extra[0][0].place,
                f"{extra[0][0].value[:LONGEST_VALUE]} cannot stand beside use",
                expected="use, with, then",
            )
        name = use.value if isinstance(use, Text) else ""
        part = known.get(name)
        body = part.get("phases") if isinstance(part, Mapping) else None
        if not isinstance(part, Mapping) or not isinstance(body, Mapping) or not body.entries:
            close = difflib.get_close_matches(name[:LONGEST_VALUE], list(known)[:1000], n=1)
            self.error(
                "unknown-name",
                use.place,
                f"there is no part {name[:LONGEST_VALUE]!r} with phases",
                expected=f"one of the parts: {', '.join(list(known)[:12]) or 'there is none'}",
                fix=f"did you mean {close[0]}?" if close and close[0] != name else "",
            )
            return []
        for _ in walk(body):
            self._count(use.place)
        errors = len(self.findings)
        binding = self._binding_of_use(key, phase, part, name)
        if len(self.findings) > errors:
            return []  # what would be written out has holes in it
        return [(self._text(k, binding), self.substitute(v, binding)) for k, v in body.entries]

    def _binding_of_use(self, key: Text, phase: Mapping, part: Mapping, name: str) -> Binding:
        takes = part.get("takes")
        wanted = [t.value for t in takes.items if isinstance(t, Text)] if isinstance(takes, Listing) else []
        given = phase.get("with")
        binding: Binding = {"name": key.value}
        if given is not None and not isinstance(given, Mapping):
            wrong = "with needs names with values"
            self.error("wrong-type", given.place, wrong, expected="with: {side: left}")
            return binding
        for variable, value in given.entries if isinstance(given, Mapping) else ():
            if variable.value not in wanted:
                self.error(
                    "unknown-key",
                    variable.place,
                    f"part {name} does not take {variable.value[:LONGEST_VALUE]}",
                    expected=f"takes: {', '.join(wanted) or 'nothing'}",
                )
            elif not isinstance(value, Text):
                message = f"{variable.value} needs one word"
                self.error("wrong-type", value.place, message, expected="with: {side: left}")
                binding[variable.value] = ""
            elif not self._is_long(value):
                binding[variable.value] = value.value
        for variable_name in wanted:
            if variable_name not in binding:
                self.error(
                    "missing-key",
                    phase.place,
                    f"part {name} needs {variable_name}",
                    fix=f"with: {{{variable_name}: ...}}",
                )
        then = phase.get("then")
        if isinstance(then, Text) and not self._is_long(then):
            binding["then"] = then.value
        elif then is None and any(isinstance(t, Text) and "<then>" in t.value for _, _, t in walk(part)):
            self.error("missing-key", phase.place, f"part {name} needs then", fix="then: NEXT_PHASE")
        return binding


def _phase_names(parts: Iterable[Item]) -> Iterator[str]:
    for part in parts:
        phases = part.get("phases") if isinstance(part, Mapping) else None
        yield from (key.value for key, _ in phases.entries) if isinstance(phases, Mapping) else ()


def _retarget(item: Item, renamed: Binding) -> Item:
    """Point every ``to: USE`` at the first phase of the part that was used there."""
    if isinstance(item, Listing):
        return Listing(tuple(_retarget(child, renamed) for child in item.items), item.place)
    if isinstance(item, Mapping):
        entries: list[tuple[Text, Item]] = []
        for key, child in item.entries:
            if key.value == "to" and isinstance(child, Text):
                entries.append((key, Text(renamed.get(child.value, child.value), child.plain, child.place)))
            else:
                entries.append((key, _retarget(child, renamed)))
        return Mapping(tuple(entries), item.place)
    return item
