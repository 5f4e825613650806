"""Names as they stand, as they fold and as plant names."""

from __future__ import annotations

import numpy as np
import pytest

from crosscompat.ground.errors import UnknownName
from crosscompat.phylogeny.table import DistanceTable


def known(labels):
    return DistanceTable(labels, np.zeros((len(labels), len(labels))))


@pytest.mark.parametrize("many", [1, 300])
def test_few_and_many_names_are_found_alike(many):
    labels = ("Aloe_vera", "Aloe ferox", "Aloe_aristata", "Aloe_" + "long" * 30, "Aloe ×spinosissima")
    asked = ["Aloe vera", "Aloe_ferox", "Aloe aristata Haw.", labels[3], "Aloe x spinosissima", "Aloe_vera"] * many
    assert known(labels).positions(asked).tolist() == [0, 1, 2, 3, 4, 0] * many
    assert known(labels).positions(name for name in asked).tolist() == [0, 1, 2, 3, 4, 0] * many


@pytest.mark.parametrize("many", [1, 200])
def test_all_unknown_names_are_told_at_once(many):
    table = known(("Aloe_vera", "Aloe_ferox"))
    with pytest.raises(UnknownName) as caught:
        table.patristic_pairs(["Aloe vera", "Agave rara"] * many, ["Aloe ferrox", "Agave rara"] * many)
    assert str(caught.value).splitlines() == [
        "“Agave rara” is not a name known here. Did you mean Aloe vera or Aloe ferox?",
        "“Aloe ferrox” is not a name known here. Did you mean Aloe ferox or Aloe vera?",
    ]
    assert caught.value.name == "Agave rara"


def test_many_unknown_names_are_counted():
    with pytest.raises(UnknownName) as caught:
        known(("Aloe_vera",)).positions([*(f"Agave rara{'a' * i}" for i in range(25)), "Aloe_vera L.", "Aloe vera"])
    lines = str(caught.value).splitlines()
    assert len(lines) == 21
    assert lines[-1] == "5 more names are not known here."
