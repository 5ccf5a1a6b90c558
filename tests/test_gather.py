"""What is gathered from files handed in: whose, what counts, and that no file and no name does harm."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta

import pytest
from handed_in import EVENING, HOSTILE, MADE, attempt, class_files, first_evening, handed, learner, recorded
from hypothesis import given, settings
from hypothesis import strategies as st

from toolkit import __version__
from toolkit.classroom.gather import KINDS, LONGEST_SHOWN, NO_NAME, Gathered, gather, shown_name
from toolkit.classroom.gather_results import AGAIN, OTHER_DAY, OTHER_LESSON, OTHER_SEED, Result, marks, result
from toolkit.classroom.hand_in import hand_in, packed
from toolkit.classroom.record import Record
from toolkit.classroom.statistics import RIGHT
from toolkit.quiz.cases import ITEMS
from toolkit.quiz.items import ABNORMAL, KNOWLEDGE

SESSION = first_evening()
KEYS = [item.key for item in SESSION.items]
ITEM = {item.key: item for item in ITEMS}


def gathered(**files: bytes) -> Gathered:
    return gather(files.items())


def kinds(found: Gathered) -> dict[str, str]:
    return {one.file: one.kind for one in found.left}


# Files -------------------------------------------------------------------------------------------------------------


def test_a_class_is_gathered_and_each_file_is_accounted_for():
    files = class_files()
    found = gather(files.items())
    assert len(found.people) == 20
    assert kinds(found) == {
        "bench-03.json": "twice",
        "bench-04-cut.json": "damaged",
        "bench-05-empty.json": "empty",
        "letter.json": "foreign",
        "picture.png": "foreign",
    }
    assert set(kinds(found).values()) == set(KINDS)
    taken = {file for person in found.people for file in person.files}
    assert taken | set(kinds(found)) == set(files)
    assert not taken & set(kinds(found))
    assert [person.name for person in found.people if not person.holds] == ["Learner at bench 6"]
    assert found.notes == ()


def test_people_stand_in_the_order_of_their_names():
    names = [person.name for person in gather(class_files().items()).people]
    assert names == [f"Learner at bench {number}" for number in range(1, 21)]


def test_the_order_of_the_files_changes_nothing():
    files = list(class_files().items())
    before = gather(files)
    random.Random(5).shuffle(files)
    assert gather(files) == before


def test_a_later_file_of_the_same_record_takes_the_place_of_the_earlier():
    whole = learner(1, SESSION)
    early = hand_in(whole.learner, __version__, MADE, whole.attempts[:5])
    found = gathered(early=packed(early), whole=packed(whole))
    (person,) = found.people
    assert person.files == ("whole",)
    assert person.attempts == whole.attempts
    assert kinds(found) == {"early": "twice"}


def test_two_files_of_one_name_are_put_together_and_what_is_odd_is_told():
    home = handed("Robin", {KEYS[0]: 1.0, KEYS[1]: 0.5}, SESSION)
    class_room = handed("robin ", {KEYS[2]: 0.0}, SESSION, EVENING + timedelta(days=1))
    found = gathered(a=packed(home), b=packed(class_room))
    (person,) = found.people
    assert [one.attempt.item_key for one in person.attempts] == KEYS[:3]
    assert person.files == ("a", "b")
    (note,) = found.notes
    assert "a, b" in note
    assert "two of one name" in note


def test_one_record_under_two_names_is_told():
    mine = learner(1, SESSION)
    rows = tuple(replace(one, attempt=replace(one.attempt, learner="Somebody else")) for one in mine.attempts)
    copied = hand_in("Somebody else", __version__, MADE, recorded([one.attempt for one in rows]))
    copied = hand_in(
        "Somebody else",
        __version__,
        MADE,
        tuple(replace(one, time=was.time) for one, was in zip(copied.attempts, mine.attempts, strict=True)),
    )
    found = gathered(a=packed(mine), b=packed(copied))
    assert len(found.people) == 2
    assert [note for note in found.notes if f"{len(mine.attempts)} answers of Learner at bench 1 and Somebody" in note]


def test_who_gave_no_name_is_nobody_else():
    files = {f"{n}": packed(learner(n, SESSION, name)) for n, name in enumerate(("\u200b", "\u200b", "\t"), 1)}
    assert [person.shown for person in gather(files.items()).people] == [NO_NAME] * 3


@pytest.mark.parametrize("length", [0, 1, 20, 40, 200, 1000])
def test_a_file_cut_off_anywhere_is_listed(length):
    data = packed(learner(1, SESSION))
    found = gathered(cut=data[:length])
    assert found.people == ()
    assert kinds(found) == {"cut": "damaged" if length >= 40 else "foreign"}


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 6))
def test_a_spoiled_file_is_listed_or_its_chain_does_not_hold(seed, flips):
    data = bytearray(packed(learner(2, SESSION)))
    before = bytes(data)
    chance = random.Random(seed)
    for _ in range(flips):
        data[chance.randrange(len(data))] = chance.randrange(256)
    found = gather([("file", bytes(data))])
    assert len(found.people) + len(found.left) == 1
    for person in found.people:
        # blanks between entries may change without a change of what is said
        assert not person.holds or person.attempts == gather([("file", before)]).people[0].attempts


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.text(max_size=20), st.binary(max_size=200)), max_size=5))
def test_any_bytes_under_any_name_are_listed(files):
    found = gather(files)
    assert found.people == ()
    assert len(found.left) == len(files)
    assert all(one.file and one.why for one in found.left)


def test_what_a_record_hands_in_is_gathered_and_its_chain_holds(tmp_path):
    record = Record(tmp_path)
    for name, key in (("Robin", KEYS[0]), ("Sam", KEYS[0]), ("Robin", KEYS[1])):
        record.append(attempt(name, ITEM[key], 1.0))
    files = {
        name: packed(hand_in(name, __version__, record.now(), record.attempts(), record.events()))
        for name in ("Robin", "Sam")
    }
    found = gather(files.items())
    assert [(one.name, len(one.attempts), one.holds) for one in found.people] == [("Robin", 2, True), ("Sam", 1, True)]
    assert (found.left, found.notes) == ((), ())


# Names -------------------------------------------------------------------------------------------------------------


def test_every_hostile_name_is_gathered_and_can_be_shown():
    files = [(f"{n}.json", packed(learner(n, SESSION, name or "\0"))) for n, name in enumerate(HOSTILE)]
    found = gather(files)
    assert sum(len(person.files) for person in found.people) == len(HOSTILE)
    for person in found.people:
        assert person.shown
        assert person.shown.isprintable()
        assert len(person.shown) <= LONGEST_SHOWN + 3


@given(st.text())
def test_a_shown_name_is_one_line_without_hidden_signs(name):
    shown = shown_name(name)
    assert shown
    assert shown.isprintable()
    assert shown == shown.strip()
    assert len(shown) <= LONGEST_SHOWN + 3


# What counts -------------------------------------------------------------------------------------------------------


def result_of(rows, session=SESSION) -> Result:
    (person,) = gathered(a=packed(hand_in("Robin", __version__, MADE, recorded(rows)))).people
    return result(person, session)


def test_the_first_answer_counts_and_the_rest_is_told():
    first, again = (attempt("Robin", ITEM[KEYS[0]], share) for share in (0.5, 1.0))
    other_lesson = attempt("Robin", ITEM["09.low"], 1.0)
    other_seed = attempt("Robin", ITEM[KEYS[1]], 1.0, seed=4)
    found = result_of([first, again, other_lesson, other_seed])
    (counted,) = found.counted
    assert (counted.share, counted.last, counted.tries) == (0.5, 1.0, 2)
    assert dict(found.left_out) == {AGAIN: 1, OTHER_LESSON: 1, OTHER_SEED: 1}
    assert found.seeds == (20261201,)
    assert {one.item_key for one in found.missing} == set(KEYS) - {KEYS[0]}


def test_what_was_answered_on_another_day_is_told():
    rows = recorded([attempt("Robin", ITEM[KEYS[0]], 1.0)], EVENING + timedelta(days=30))
    (person,) = gathered(a=packed(hand_in("Robin", __version__, MADE, rows))).people
    found = result(person, SESSION)
    assert found.counted == ()
    assert dict(found.left_out) == {OTHER_DAY: 1}
    assert [score.share for score in found.sections] == [0.0, 0.0]
    assert [score.reached for score in found.sections] == [False, False]


def test_a_section_s_share_is_over_all_that_was_asked():
    asked = [item for item in SESSION.items if item.section == KNOWLEDGE]
    # all but one right: 6 of 7 is above the 80 % wanted, 5 of 7 is not
    for right, reached in ((6, True), (5, False)):
        found = result_of([attempt("Robin", item, 1.0) for item in asked[:right]])
        knowledge, abnormal = found.sections
        assert (knowledge.section, knowledge.asked, knowledge.answered) == (KNOWLEDGE, 7, right)
        assert knowledge.share == pytest.approx(right / 7)
        assert knowledge.reached is reached
        assert (abnormal.section, abnormal.answered, abnormal.reached) == (ABNORMAL, 0, False)


def test_a_mark_that_is_met_exactly_is_reached():
    asked = [item for item in SESSION.items if item.section == KNOWLEDGE]
    found = result_of([attempt("Robin", item, 0.8) for item in asked])
    assert found.sections[0].share == pytest.approx(0.8)
    assert found.sections[0].reached is True


def test_without_a_session_all_first_answers_count_and_no_mark_is_set():
    rows = [attempt("Robin", ITEM[key], 1.0, seed=n) for n, key in enumerate(("09.low", "02.droop", "09.low"))]
    found = result_of(rows, None)
    # in the course's own order
    assert [one.first.attempt.item_key for one in found.counted] == ["02.droop", "09.low"]
    assert found.missing == ()
    assert [score.reached for score in found.sections] == [None]
    assert dict(found.left_out) == {AGAIN: 1}


def test_an_item_of_another_version_is_kept():
    odd = replace(attempt("Robin", ITEM["02.droop"], 1.0), item_key="99.new", lesson="99")
    found = result_of([odd], None)
    assert [one.first.attempt.item_key for one in found.counted] == ["99.new"]
    assert found.sections[0].section == KNOWLEDGE


def test_the_bank_hash_tells_what_was_asked():
    def hashed(keys, seed=20261201) -> str:
        return result_of([attempt("Robin", ITEM[key], 1.0, seed) for key in keys], None).bank_hash

    assert hashed(KEYS[:3]) == hashed(KEYS[2::-1])
    assert len({hashed(KEYS[:3]), hashed(KEYS[:2]), hashed(KEYS[:3], seed=2)}) == 3


def test_to_review_is_what_was_weak_at_last_and_what_is_missing():
    weak = [attempt("Robin", ITEM[KEYS[0]], 0.0), attempt("Robin", ITEM[KEYS[0]], RIGHT)]
    weak += [attempt("Robin", ITEM[KEYS[1]], 1.0), attempt("Robin", ITEM[KEYS[1]], 0.0)]
    weak += [attempt("Robin", ITEM[KEYS[2]], RIGHT - 0.01)]
    found = result_of(weak)
    keys = [getattr(one, "item_key", None) or one.first.attempt.item_key for one in found.to_review]  # type: ignore
    assert keys[:2] == [KEYS[1], KEYS[2]]
    assert set(keys) == set(KEYS) - {KEYS[0]}


def test_marks_for_item_analysis_tell_questions_apart_by_hash_or_by_key():
    rows = [attempt("Robin", ITEM[KEYS[0]], 1.0, seed=seed) for seed in (1, 2)]
    others = [attempt("Sam", ITEM[KEYS[0]], 0.0, seed=2)]
    found = gathered(
        a=packed(hand_in("Robin", __version__, MADE, recorded(rows))),
        b=packed(hand_in("Sam", __version__, MADE, recorded(others))),
    )
    results = [result(person, None) for person in found.people]
    by_key, by_hash = (marks(results, exact=exact) for exact in (False, True))
    assert [(one.person, one.item, one.share) for one in by_key] == [(0, KEYS[0], 1.0), (1, KEYS[0], 0.0)]
    assert len({one.item for one in by_hash}) == 2
