"""Whatever is done to a book, in whatever order, its rules hold."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import fields
from datetime import date, timedelta
from pathlib import Path

import hypothesis.strategies as st
from hypothesis import HealthCheck, settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from crosscompat.advice.season.cross_story import story_of
from crosscompat.advice.season.history import history_of
from crosscompat.book import records
from crosscompat.book.cross_summary import cross_records, crosses_of
from crosscompat.book.crosses import COUNT_COLUMNS, count_arrays, impossible
from crosscompat.book.current_plants import plants_of
from crosscompat.book.entry import Bounds, impossibilities, own_ancestors
from crosscompat.book.entry.correct import correct, take_back, withdraw
from crosscompat.book.entry.enter_observation import Seen, observe
from crosscompat.book.entry.enter_plant import PlantEntry, enter_plant
from crosscompat.book.entry.enter_pollination import PollinationEntry, pollination_records, write_pollination
from crosscompat.book.numbers_and_names import OURS, read_pattern
from crosscompat.book.record_fields import reference
from crosscompat.book.records import KINDS, PROOFS
from crosscompat.book.store import open_store
from crosscompat.book.store.backup import back_up, restore
from crosscompat.ground.errors import CrosscompatError, WrongUse
from crosscompat.stages import STAGES

TODAY = date(2026, 11, 1)
PATTERN = read_pattern(OURS)
BOUNDS = Bounds(TODAY, 30)
NAMES = ["coc-1", "das-1", "pec-1", "tri-1"]
NUMBERS = ["26-01", "26-02"]
DAYS = st.integers(0, 120).map(lambda n: date(2026, 5, 1) + timedelta(days=n))
FEW = st.integers(0, 6)
SOME = st.none() | FEW
TEXT = st.none() | st.sampled_from(["a", "b"])

HERE = st.just("")
HARVEST = st.builds(records.SeedLot, cross=HERE, pods=SOME, seeds=SOME, filled=SOME, name=TEXT)
SOWN = st.builds(records.Sowing, cross=HERE, seeds=FEW, lot=TEXT, place=TEXT)
SEEN = st.one_of(
    st.builds(Seen, swelling=FEW), st.builds(Seen, ripe=FEW, dropped=SOME),
    st.builds(Seen, harvest=HARVEST, only_good=st.booleans()),
    st.builds(Seen, sown=SOWN), st.builds(Seen, up=FEW, highest=SOME),
    st.builds(Seen, up=FEW, tray=TEXT, proof=st.sampled_from(PROOFS)), st.builds(Seen, lost=st.just("mice"), tray=TEXT),
    st.builds(Seen, over=st.sampled_from([*STAGES]), note=TEXT, doubtful=TEXT),
)  # fmt: skip
NUMERIC = ("count", "units", "seeds", "filled", "pods", "up", "highest", "left")
PAIRS = [
    *(f"{name}={n}" for name in NUMERIC for n in (0, 3, 9)),
    *(f"date={day}" for day in ("2026-05-01", "2026-08-30", "2026-12-24", "2019-01-01", "")),
    *(f"cross={number}" for number in (*NUMBERS, "")), *(f"name={name}" for name in NAMES),
    *(f"plant={name}" for name in NAMES), *(f"seed_plant={name}" for name in NAMES), "number=26-02", "doubt=", "lot=",
    "wanted=9", "what=pods_held", "note=x",
]  # fmt: skip


def standing(page):
    return {record.id: record for kind in KINDS.values() for record in page.current(kind)}


class Book(RuleBasedStateMachine):
    @initialize()
    def open(self):
        self.folder = Path(tempfile.mkdtemp())
        self.path = self.folder / "book.sqlite"
        self.store = open_store(self.path)
        self.states = {0: {}}  # the records that stood after each change
        self.before = {}
        self.rows = []
        self.copies = []
        self.changed = True
        self.write(self._begin)

    @staticmethod
    def _begin(pen):
        """Two plants and a cross of theirs that has come as far as a tray."""
        mother, father = records.Plant(name=NAMES[0]), records.Plant(name=NAMES[1])
        cross = records.Cross(number=NUMBERS[0], seed_plant=mother.id)
        visit = records.Pollination(cross=cross.id, date=date(2026, 5, 1), units=4)
        pen.add(mother, father, cross, visit, records.Pollen(pollination=visit.id, plant=father.id))
        seen = Seen(
            swelling=3,
            ripe=2,
            harvest=records.SeedLot(cross="", seeds=9, name="a"),
            sown=records.Sowing(cross="", seeds=6, place="a"),
        )
        return observe(pen, cross, seen, date(2026, 8, 1), None, BOUNDS)

    def teardown(self):
        if hasattr(self, "store"):
            self.store.close()
            shutil.rmtree(self.folder)

    def write(self, act):
        """Write, and note what stood before and after; what is refused must have changed nothing."""
        with self.store.reading() as page:
            was, changes = standing(page), page.changes()
        done = None
        try:
            with self.store.writing("something") as pen:
                done = act(pen)
        except WrongUse:
            with self.store.reading() as page:
                assert standing(page) == was
                assert page.changes() == changes
            return None
        self.changed = True
        with self.store.reading() as page:
            now, after = standing(page), page.changes()
        assert after[: len(changes)] == changes
        if len(after) > len(changes):
            self.before[after[-1].id] = was
            self.states[after[-1].id] = now
        return done

    def choose(self, data, kind=None):
        with self.store.reading() as page:
            found = [record for record in standing(page).values() if kind is None or isinstance(record, kind)]
        return data.draw(st.sampled_from(found)) if found else None

    @rule(name=st.sampled_from(NAMES))
    def plant(self, name):
        def add(pen):
            if pen.find(records.Plant, name=name) is None:
                pen.add(records.Plant(name=name))

        self.write(add)

    @rule(data=st.data(), number=st.sampled_from(NUMBERS), day=DAYS, units=SOME)
    def pollinate(self, data, number, day, units):
        seed, father = self.choose(data, records.Plant), self.choose(data, records.Plant)

        def add(pen):
            cross = pen.find(records.Cross, number=number)
            if cross is None:
                cross = records.Cross(number=number, seed_plant=seed.id if seed else None)
                pen.add(cross)
            visit = records.Pollination(cross=cross.id, date=day, units=units or None)
            pen.add(visit)
            if father is not None:
                pen.add(records.Pollen(pollination=visit.id, plant=father.id))
            faults = impossibilities(cross_records(pen, cross), TODAY, BOUNDS.most_seeds)
            if faults or own_ancestors(pen):
                raise WrongUse("so not")

        self.write(add)

    @rule(data=st.data(), day=DAYS, named=st.booleans(), told=st.fixed_dictionaries(
        {"units": st.none() | st.integers(1, 6), "unit_kind": st.sampled_from([None, "flower", "raceme"]),
         "flowers": st.sampled_from(records.FLOWERS)}))  # fmt: skip
    def visit(self, data, day, named, told):
        seed, father, cross = (self.choose(data, kind) for kind in (records.Plant, records.Plant, records.Cross))
        if not (seed and father and cross):
            return
        mother = cross.seed_plant if named else seed.id
        made = records.Pollination(cross="", date=day, pollen_kind="one", **told)

        def add(pen):
            asked = PollinationEntry(
                cross=records.Cross(seed_plant=mother),
                visit=made,
                pollen=(records.Pollen(pollination=made.id, plant=father.id),),
                continues=cross_records(pen, cross) if named else None,
            )
            write_pollination(pen, pollination_records(pen, asked, PATTERN, "01-01"), BOUNDS)

        self.write(add)

    @rule(data=st.data(), name=st.sampled_from(NAMES))
    def raise_from(self, data, name):
        cross = self.choose(data, records.Cross)

        def tell(pen):
            new = pen.find(records.Plant, name=name) is None
            told = PlantEntry(name=name, new=new, day=TODAY, raised_from=cross.number or cross.id)
            enter_plant(pen, told, PATTERN, BOUNDS)

        if cross is not None:
            self.write(tell)

    @rule(data=st.data(), name=st.sampled_from(NAMES))
    def raise_a_seedling(self, data, name):
        cross = self.choose(data, records.Cross)

        def add(pen):
            if cross is not None and pen.find(records.Plant, name=name) is None:
                pen.add(records.Plant(name=name, cross=cross.id))

        self.write(add)

    @rule(data=st.data(), seen=SEEN, days=st.integers(90, 120))
    def observe(self, data, seen, days):
        cross = self.choose(data, records.Cross)
        if cross is not None:
            day = date(2026, 5, 1) + timedelta(days=days)
            self.write(lambda pen: observe(pen, cross, seen, day, "A. Grower", BOUNDS))

    @rule(data=st.data())
    def correct(self, data):
        record = self.choose(data)
        if record is None:
            return
        fields_of = {item.name for item in fields(record)}
        pair = data.draw(st.sampled_from([one for one in PAIRS if one.partition("=")[0] in fields_of]))
        self.write(lambda pen: attempt(correct, pen, record, [pair], BOUNDS))

    @rule(data=st.data(), with_rest=st.booleans())
    def withdraw(self, data, with_rest):
        record = self.choose(data)
        if record is not None:
            self.write(lambda pen: withdraw(pen, record, BOUNDS, with_rest=with_rest))

    @rule(data=st.data(), last=st.booleans())
    def undo(self, data, last):
        with self.store.reading() as page:
            numbers = [change.id for change in page.changes()]
            now = standing(page)
        number = None if last or not numbers else data.draw(st.sampled_from(numbers[-5:]))
        change = self.write(lambda pen: take_back(pen, number, BOUNDS))
        if change is not None and now == self.states[change.id]:
            with self.store.reading() as page:
                assert standing(page) == self.before[change.id]

    @rule()
    def back_up(self):
        with self.store.reading() as page:
            self.copies.append((back_up(self.path), standing(page), dict(self.states), dict(self.before)))

    @precondition(lambda self: self.copies)
    @rule(data=st.data())
    def put_back(self, data):
        copy, stood, self.states, self.before = data.draw(st.sampled_from(self.copies))
        self.states, self.before, self.rows = dict(self.states), dict(self.before), []
        restore(self.path, copy)
        self.changed = True
        with self.store.reading() as page:
            assert standing(page) == stood

    @invariant()
    def the_rules_hold(self):
        if not getattr(self, "changed", False):
            return
        self.changed = False
        self.every_reference_stands()
        self.nothing_impossible_stands_and_all_can_be_told()
        self.what_was_once_written_stays_written()

    def every_reference_stands(self):
        with self.store.reading() as page:
            stand = standing(page)
        loose = [
            (record, item.name)
            for record in stand.values()
            for item in fields(record)
            if reference(item) and getattr(record, item.name) not in {None, *stand}
        ]
        assert loose == []

    def nothing_impossible_stands_and_all_can_be_told(self):
        with self.store.reading() as page:
            crosses = page.current(records.Cross)
            for cross in crosses:
                assert impossibilities(cross_records(page, cross), TODAY, BOUNDS.most_seeds) == []
                story_of(page, cross)
            lines = crosses_of(page)
            plants_of(page)
            history_of(page, most=3)
            names = [plant.name for plant in page.current(records.Plant)]
        counts = [{column: getattr(line, column) for column in COUNT_COLUMNS} for line in lines]
        assert impossible(count_arrays(counts)) == []
        assert len({cross.number for cross in crosses} - {None}) == sum(cross.number is not None for cross in crosses)
        assert len(set(names)) == len(names)

    def what_was_once_written_stays_written(self):
        with self.store.reading() as page:
            rows = {
                (version.record.id, version.made_in): version
                for kind in KINDS.values()
                for version in page.versions(kind)
            }
            changes = {change.id for change in page.changes()}
        wrote = {number for one in rows.values() for number in (one.made_in, one.replaced_in) if number is not None}
        assert wrote == changes
        for version in self.rows:
            now = rows[version.record.id, version.made_in]
            assert now.record == version.record
            assert version.replaced_in in {None, now.replaced_in}
        self.rows = list(rows.values())


def attempt(act, *arguments):
    """Do it; a name that is not there is as good as any other refusal."""
    try:
        return act(*arguments)
    except WrongUse:
        raise
    except CrosscompatError as error:
        raise WrongUse(str(error)) from error


TestBook = Book.TestCase
TestBook.settings = settings(
    max_examples=25, stateful_step_count=25, deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)  # fmt: skip
