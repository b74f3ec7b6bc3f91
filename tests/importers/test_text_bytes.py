"""Which bytes are UTF-8: looked at in pieces, as Python's own decoder says of the whole."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from importers import text_bytes


@given(st.lists(st.one_of(st.text(max_size=9).map(str.encode), st.binary(max_size=3)), max_size=9))
def test_pieces_cut_through_characters_as_if_they_were_whole(parts: list[bytes]) -> None:
    data = b"".join(parts)
    try:
        data.decode("utf-8")
        want = True
    except UnicodeDecodeError:
        want = False
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(text_bytes, "PIECE", 3)
        assert text_bytes._is_utf8(data) is want


def test_a_character_cut_off_at_the_end_is_damage_that_is_told() -> None:
    rows = "".join(f"{at},21 °C\n" for at in range(60))
    text = text_bytes.as_text(f"Zeit,Temperatur\n{rows}60,21 °".encode()[:-1])
    assert text.encoding == "UTF-8"
    assert text.problems == ("1 characters could not be read in UTF-8",)
