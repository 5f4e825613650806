"""Names looked up by their bytes, against a dictionary."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import UnknownName
from crosscompat.phylogeny import name_lookup
from crosscompat.phylogeny.name_lookup import NameLookup
from crosscompat.phylogeny.spans import SpanIndex

WORDS = st.text(st.sampled_from("abé_ ×\0\n,"), max_size=12) | st.text(max_size=80)


@settings(max_examples=200, deadline=None)
@given(labels=st.lists(WORDS, max_size=60, unique=True), others=st.lists(WORDS, max_size=30))
def test_each_span_holds_the_label_that_a_dictionary_finds(labels, others):
    place_of = {label: place for place, label in enumerate(labels)}
    asked = [*others, *labels[::-1], *others]
    written = [name.encode("utf-8", "surrogatepass") for name in asked]
    stop = np.cumsum([len(name) for name in written], dtype=np.int64)
    start = stop - [len(name) for name in written]
    found = SpanIndex(labels).find(np.frombuffer(b"".join(written), dtype=np.uint8), start, stop)
    long = 64
    wanted = [place_of.get(name, -1) if len(text) <= long else -1 for name, text in zip(asked, written, strict=True)]
    assert found.tolist() == wanted


def test_labels_of_one_hash_are_told_apart():
    labels = [f"Genus_species{i}" for i in range(20_000)]
    index = SpanIndex(labels)
    content = np.frombuffer("".join(labels).encode(), dtype=np.uint8)
    stop = np.cumsum([len(label) for label in labels])
    start = np.append(0, stop[:-1])
    assert np.array_equal(index.find(content, start, stop), np.arange(20_000))
    assert (index.find(content, start + 1, stop) == -1).all()


@pytest.fixture(params=[True, False], ids=["by bytes", "by a dictionary"])
def way(request, monkeypatch):
    """Both ways to look names up, whatever their number."""
    for limit in ("_MANY", "_LARGE"):
        monkeypatch.setattr(name_lookup, limit, 2 if request.param else 10**9)


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("many", [3, 3_000])
def test_few_and_many_names_are_found_alike(many):
    labels = ("Aloe_vera", "Aloe ferox", "Aloe_aristata", "Aloe_" + "long" * 30, "Aloe ×spinosissima")
    asked = ["Aloe vera", "Aloe_ferox", "Aloe aristata Haw.", labels[3], "Aloe x spinosissima", "Aloe_vera"] * many
    assert NameLookup(labels).positions(asked).tolist() == [0, 1, 2, 3, 4, 0] * many
    assert NameLookup(labels).positions(name for name in asked).tolist() == [0, 1, 2, 3, 4, 0] * many


@pytest.mark.usefixtures("way")
def test_a_name_with_a_line_break_is_looked_up_too():
    labels = ("a\nb", "c")
    assert NameLookup(labels).positions(["c", "a\nb"] * 1_000).tolist() == [1, 0] * 1_000


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("many", [1, 2_000])
def test_all_unknown_names_are_told_at_once(many):
    known = NameLookup(("Aloe_vera", "Aloe_ferox"))
    with pytest.raises(UnknownName) as caught:
        known.pairs(["Aloe vera", "Agave rara"] * many, ["Aloe ferrox", "Agave rara"] * many)
    assert str(caught.value).splitlines() == [
        "“Agave rara” is not among the names known here. Did you mean Aloe vera or Aloe ferox?",
        "“Aloe ferrox” is not among the names known here. Did you mean Aloe ferox or Aloe vera?",
    ]
    assert caught.value.name == "Agave rara"


def test_many_unknown_names_are_counted():
    with pytest.raises(UnknownName) as caught:
        NameLookup(("Aloe_vera",)).positions(
            [*(f"Agave rara{'a' * i}" for i in range(25)), "Aloe_vera L.", "Aloe vera"]
        )
    lines = str(caught.value).splitlines()
    assert len(lines) == 21
    assert lines[-1] == "5 more names are not among the names known here."
