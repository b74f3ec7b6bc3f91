"""On which line does a key stand? Every shape of key the language has."""

import tomllib

import pytest

from importers.toml_lines import key_lines, line_of

TEXT = '''\
# a comment = with an equals sign
top = 1

[ pack ]  # header with a comment
"name" = "a # in = a [text]"
'odd = key' = 2
deep.er.key = 3
long = """
fake = 1
[fake]
"""
list = [
  1,  # fake = 2
  2,
]
inline = { a = 1, b = 2 }
after = 5
[drives."left front".x]
key = '# no comment'
[[hills]]
name = 1
[[hills]]

name = 2
[hills.more]
z = 3
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 2),
        (("pack",), 4),
        (("pack", "name"), 5),
        (("pack", "odd = key"), 6),
        (("pack", "deep", "er", "key"), 7),
        (("pack", "deep"), 7),
        (("pack", "long"), 8),
        (("pack", "list"), 12),
        (("pack", "inline", "b"), 16),
        (("pack", "after"), 17),
        (("drives", "left front", "x", "key"), 19),
        (("hills",), 20),
        (("hills", 0, "name"), 21),
        (("hills", 1, "name"), 24),
        (("hills", 1, "more", "z"), 26),
        (("pack", "absent"), 4),
        (("nothing", "here"), 1),
    ],
)
def test_lines(path, line):
    tomllib.loads(TEXT)  # the text is the language's own
    assert line_of(path, key_lines(TEXT)) == line


def test_windows_line_ends_count_once():
    assert key_lines("a = 1\r\n\r\nb = 2\r\n") == {("a",): 1, ("b",): 3}
