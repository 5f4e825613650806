"""Names as they stand, as they fold and as plant names."""

from __future__ import annotations

import pytest

from crosscompat.ground.errors import UnknownName
from crosscompat.phylogeny.name_lookup import NameLookup


@pytest.mark.parametrize("many", [1, 300])
def test_few_and_many_names_are_found_alike(many):
    labels = ("Aloe_vera", "Aloe ferox", "Aloe_aristata", "Aloe_" + "long" * 30, "Aloe ×spinosissima")
    asked = ["Aloe vera", "Aloe_ferox", "Aloe aristata Haw.", labels[3], "Aloe x spinosissima", "Aloe_vera"] * many
    assert NameLookup(labels).positions(asked).tolist() == [0, 1, 2, 3, 4, 0] * many
    assert NameLookup(labels).positions(name for name in asked).tolist() == [0, 1, 2, 3, 4, 0] * many


@pytest.mark.parametrize("many", [1, 200])
def test_all_unknown_names_are_told_at_once(many):
    known = NameLookup(("Aloe_vera", "Aloe_ferox"))
    with pytest.raises(UnknownName) as caught:
        known.pairs(["Aloe vera", "Agave rara"] * many, ["Aloe ferrox", "Agave rara"] * many)
    assert str(caught.value).splitlines() == [
        "“Agave rara” is not a name known here. Did you mean Aloe vera or Aloe ferox?",
        "“Aloe ferrox” is not a name known here. Did you mean Aloe ferox or Aloe vera?",
    ]
    assert caught.value.name == "Agave rara"


def test_many_unknown_names_are_counted():
    with pytest.raises(UnknownName) as caught:
        NameLookup(("Aloe_vera",)).positions(
            [*(f"Agave rara{'a' * i}" for i in range(25)), "Aloe_vera L.", "Aloe vera"]
        )
    lines = str(caught.value).splitlines()
    assert len(lines) == 21
    assert lines[-1] == "5 more names are not known here."
