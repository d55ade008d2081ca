"""Words for a locale: `locale/*/LC_MESSAGES/django.po` as Django reads it, compiled without gettext's own tools.

Only what these files use is known here: comments, msgid, msgid_plural, msgstr and msgstr[n], each in quotes.
"""

import ast
import re
import struct
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent / "locale"
MAGIC = 0x950412DE
LINE = re.compile(r'(?:(msgid|msgid_plural|msgstr(?:\[\d\])?)\s+)?("(?:[^"\\]|\\.)*")')


def read(text: str) -> dict[str, str]:
    """The messages of a .po file as .mo files hold them: forms of a plural are joined by a zero byte."""
    messages: dict[str, str] = {}
    entry: dict[str, str] = {}
    key = ""
    for number, line in enumerate([*text.splitlines(), 'msgid ""'], start=1):
        if not line.strip() or line.startswith("#"):
            continue
        found = LINE.fullmatch(line.strip())
        if found is None:
            raise ValueError(f"Line {number} is not understood: {line}")
        if found[1] == "msgid" and entry:
            _keep(entry, messages)
            entry = {}
        key = found[1] or key
        entry[key] = entry.get(key, "") + ast.literal_eval(found[2])
    return messages


def _keep(entry: dict[str, str], messages: dict[str, str]) -> None:
    said = "\0".join(value for name, value in sorted(entry.items()) if name.startswith("msgstr"))
    original = "\0".join(filter(None, [entry["msgid"], entry.get("msgid_plural")]))
    if original in messages:
        raise ValueError(f"Given twice: {entry['msgid']}")
    messages[original] = said


def compiled(messages: dict[str, str]) -> bytes:
    """The bytes of a .mo file (GNU gettext manual, "The Format of GNU MO Files")."""
    pairs = [(key.encode(), value.encode()) for key, value in sorted(messages.items(), key=lambda row: row[0].encode())]
    count, table = len(pairs), 28
    at = table + count * 16
    places: list[list[int]] = [[], []]
    data = b""
    for column in (0, 1):
        for pair in pairs:
            places[column] += [len(pair[column]), at + len(data)]
            data += pair[column] + b"\0"
    head = struct.pack("<7I", MAGIC, 0, count, table, table + count * 8, 0, at)
    return head + struct.pack(f"<{count * 4}I", *places[0], *places[1]) + data


def catalogs() -> dict[Path, bytes]:
    """Each catalog's file and what should be in it. A country's begins with the language's own: what Django says itself
    in that country's words is otherwise found before what we say in the language."""
    found = {}
    for source in sorted(ROOT.glob("*/LC_MESSAGES/django.po")):
        language = source.parents[1].name.partition("_")[0]
        common = ROOT / language / "LC_MESSAGES" / "django.po"
        messages = read(common.read_text(encoding="utf-8")) | read(source.read_text(encoding="utf-8"))
        found[source.with_suffix(".mo")] = compiled(messages)
    return found
