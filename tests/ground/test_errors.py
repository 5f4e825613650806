from __future__ import annotations

import inspect
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.ground import errors
from crosscompat.ground.errors import BadInput, CrosscompatError, Fault, NoPairing, Place, UnknownName, WrongUse


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (Place(), ""),
        (Place("a.csv"), "a.csv"),
        (Place("a.csv", row=2), "a.csv, row 2"),
        (Place("a.csv", row=0), "a.csv, row 0"),
        (Place("a.csv", row=2, column="date"), "a.csv, row 2, column date"),
        (Place("t.nwk", line=3, character=14), "t.nwk, line 3, character 14"),
        (Place(row=2), "row 2"),
    ],
)
def test_a_place_is_said_as_far_as_it_is_known(place, words):
    assert str(place) == words


def test_a_fault_says_where_what_and_what_to_do():
    assert str(Fault(Place(), "Wrong.")) == "Wrong."
    assert str(Fault(Place("a"), "Wrong.", "Mend it.")) == "a: Wrong.\n  Mend it."
    assert str(Fault(Place("a"), "Wrong.", "Mend it.", "(a:x);", (3, 4))).splitlines() == [
        "a: Wrong.", "    (a:x);", "       ^", "  Mend it.",
    ]  # fmt: skip


@given(st.text("abc(),:;", min_size=1, max_size=30), st.data())
def test_the_mark_stands_under_its_piece(excerpt, data):
    start = data.draw(st.integers(0, len(excerpt)))
    stop = data.draw(st.integers(start, len(excerpt)))
    _, shown, marked = str(Fault(Place("t"), "Wrong.", excerpt=excerpt, mark=(start, stop))).split("\n")
    assert [i - 4 for i, letter in enumerate(marked) if letter == "^"] == list(range(start, max(stop, start + 1)))
    assert shown[4:] == excerpt


def test_bad_input_holds_every_fault_in_the_order_given():
    faults = [Fault(Place("b", row=2), "One."), Fault(Place("a"), "Two.")]
    error = BadInput(iter(faults))
    assert error.faults == tuple(faults)
    assert str(error) == "b, row 2: One.\na: Two."


def test_an_unknown_name_keeps_the_name_and_the_nearest():
    error = UnknownName("Who?", "Aus bos", ["Aus bus"])
    assert (str(error), error.name, error.nearest) == ("Who?", "Aus bos", ("Aus bus",))


def test_every_error_is_of_one_family_with_an_exit_code_of_its_own_kind():
    found = {
        name: kind
        for name, kind in vars(errors).items()
        if inspect.isclass(kind) and issubclass(kind, Exception) and not issubclass(kind, Warning)
    }
    assert all(issubclass(kind, CrosscompatError) for kind in found.values())
    assert {name: kind.exit_code for name, kind in found.items()} == {
        "CrosscompatError": 3, "BadInput": 3, "UnknownName": 2, "WrongUse": 2, "NoPairing": 1, "Busy": 4,
    }  # fmt: skip


@pytest.mark.parametrize(
    "error",
    [WrongUse("no"), NoPairing("no"), BadInput([Fault(Place("a", row=1), "One.")]), UnknownName("a", "b", ["c"])],
)
def test_errors_cross_processes(error):
    back = pickle.loads(pickle.dumps(error))
    assert (type(back), str(back)) == (type(error), str(error))
    assert vars(back) == vars(error)
