"""Mastery, reviews after a day, a week and a month, and where to go on: from made-up records, day by day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest

from toolkit.classroom.mastery import CAUSE, FIRST
from toolkit.classroom.record import Attempt, Record, Recorded
from toolkit.classroom.review import GAPS, PASS_MARKS, PASSED, case_standing, go_on, standing
from toolkit.course import LESSONS, VISIT, lesson
from toolkit.errors import CourseError
from toolkit.panels.course_map import MAPPED, advice_html, course_map, map_html, review_words, standings_of
from toolkit.quiz.cases import items_of
from toolkit.quiz.items import ABNORMAL
from toolkit.quiz.trouble_case import draw_case
from toolkit.quiz.trouble_items import IN_EVERY_CASE, SECTIONS, case_items

ITEMS = ("02.a", "02.b", "02.c")
DAY = date(2026, 3, 2)


def answered(*rows, lesson="02"):
    """(day after DAY, item, share of the marks[, seed]) as recorded attempts."""
    made = []
    for number, (day, item, share, *seed) in enumerate(rows):
        attempt = Attempt("", "1", lesson, item, "h", "o", (seed or [1])[0], 0, share, 1.0, 5.0)
        made.append(Recorded(number, f"{DAY + timedelta(days=day)}T08:00:00Z", attempt))
    return made


def rounds(*days, share=1.0):
    return answered(*((day, item, share) for day in days for item in ITEMS))


def test_a_lesson_is_mastered_once_all_its_items_are_answered_well():
    assert standing([], "02", ITEMS).due is None
    begun = standing(answered((0, "02.a", 1.0), (0, "02.b", 1.0)), "02", ITEMS)
    assert (begun.tried, begun.mastered, begun.due) == (2, False, None)
    assert begun.share == pytest.approx(2 / 3)  # what was not tried counts nothing
    done = standing(rounds(0), "02", ITEMS)
    assert (done.tried, done.mastered, done.share) == (3, True, 1.0)
    assert standing(rounds(0, share=PASSED), "02", ITEMS).mastered
    assert not standing(rounds(0, share=PASSED - 0.01), "02", ITEMS).mastered


def test_a_poor_answer_can_be_made_good():
    poor = answered((0, "02.a", 0.0), (0, "02.b", 1.0), (0, "02.c", 1.0))
    assert not standing(poor, "02", ITEMS).mastered
    better = [*poor, *answered((1, "02.a", 0.9))]
    assert standing(better, "02", ITEMS).due == DAY + timedelta(days=1 + GAPS[0])


def test_reviews_come_after_a_day_a_week_and_a_month():
    assert GAPS == (1, 7, 30)
    day, dues = 0, []
    days = [0]
    for gap in (1, 7, 30, 30):
        one = standing(rounds(*days), "02", ITEMS)
        dues.append((one.due - (DAY + timedelta(days=days[-1]))).days)
        day += gap
        days.append(day)
    assert dues == [1, 7, 30, 30]


def test_a_repeat_before_it_is_due_changes_nothing():
    first = standing(rounds(0, 1), "02", ITEMS)
    assert first.due == DAY + timedelta(days=1 + 7)
    assert standing(rounds(0, 1, 2, 3), "02", ITEMS) == first


def test_a_late_review_counts_from_its_own_day():
    assert standing(rounds(0, 20), "02", ITEMS).due == DAY + timedelta(days=27)


def test_due_is_from_that_day_on():
    one = standing(rounds(0), "02", ITEMS)
    assert [one.is_due(DAY + timedelta(days=days)) for days in (0, 1, 2)] == [False, True, True]
    said = [review_words(one, DAY + timedelta(days=days)) for days in (-2, 0, 1, 5)]
    assert said == ["in 3 days", "tomorrow", "due today", "due since 2026-03-03"]


def test_other_lessons_and_items_that_are_no_longer_asked_do_not_count():
    other = answered(*((0, f"03.{c}", 1.0) for c in "abc"), lesson="03")
    gone = answered((0, "02.old", 0.0))
    assert standing([*other, *gone], "02", ITEMS) == standing([], "02", ITEMS)


def test_an_unfinished_run_is_gone_on_from_with_its_numbers():
    left = answered((0, "02.a", 1.0, 9), (0, "02.b", 0.2, 9))
    one = standing(left, "02", ITEMS)
    assert (one.seed, one.asked) == (9, 2)
    assert standing([*left, *answered((0, "02.c", 1.0, 9))], "02", ITEMS).seed is None


def advised(recorded, today, lessons=(("02", ITEMS), ("03", ("03.x",)))):
    return go_on(recorded, {number: standing(recorded, number, items) for number, items in lessons}, today)


def test_where_to_go_on():
    assert advised([], DAY) == ("02", "next")
    assert advised(answered((0, "02.a", 1.0)), DAY) == ("02", "begun")
    assert advised(rounds(0), DAY) == ("03", "next")
    assert advised(rounds(0), DAY + timedelta(days=1)) == ("02", "due")
    both = [*rounds(0), *answered((0, "03.x", 1.0), lesson="03")]
    assert advised(both, DAY) == ("", "")


# The visit ----------------------------------------------------------------------------------------------------------

RIGHT, WRONG = {"torn": 80, "leak": 20}, {"torn": 30, "leak": 70}


def case(day, points=RIGHT, **shares):
    """The answers to a whole case on a day: each right, but for the shares of the marks given by the ends of keys."""
    made = []
    for key in IN_EVERY_CASE:
        share = shares.get(key.partition(".")[2], 1.0)
        if share is not None:
            answer = {"truth": "torn", "points": points} if key == CAUSE else 0
            attempt = Attempt("", "1", VISIT.number, key, "h", "o", 1, answer, share, 1.0, 5.0)
            made.append(Recorded(0, f"{DAY + timedelta(days=day)}T08:00:00Z", attempt))
    return made


def visit(*cases):
    return case_standing([one for answers in cases for one in answers], VISIT.number, IN_EVERY_CASE)


def test_a_case_is_passed_as_the_page_says():
    """The sections and their marks are the page's own; what comes first is a section alone."""
    assert [key for key, section in SECTIONS.items() if section == ABNORMAL] == [FIRST]
    assert PASS_MARKS[ABNORMAL] == 1.0
    assert visit().due is None
    assert visit(case(0)).due == DAY + timedelta(days=GAPS[0])
    for poor in ({"first": 0.0}, {"visit": 0.0, "time": 0.5}, {"restore": None}, {"points": WRONG}):
        stand = visit(case(0, **poor))
        assert (stand.mastered, stand.due) == (False, None), poor
    assert visit(case(0, visit=0.0)).mastered  # 5 of 6 marks
    # what is asked in some cases only counts where it was asked
    more = case(0, visit=0.0) + [
        replace(one, attempt=replace(one.attempt, item_key="21.defeated")) for one in case(0)[1:2]
    ]
    assert visit(more).mastered
    more[-1] = replace(more[-1], attempt=replace(more[-1].attempt, score=0.0))
    assert not visit(more).mastered


def test_no_case_is_made_up_of_parts_of_two():
    stopped = case(0, visit=0.0, cause=None, time=None, number=None, layer=None, restore=None)
    assert not visit(case(0, first=0.0), stopped).mastered
    stand = visit(case(0), stopped)
    assert (stand.passes, stand.tried, stand.items) == (1, 2, len(IN_EVERY_CASE))
    assert stand.share == pytest.approx(1 / len(IN_EVERY_CASE))
    # no case is gone on with: the page begins a new one
    assert stand.seed is None


def test_the_visit_falls_due_after_a_day_a_week_and_a_month():
    day, days, dues = 0, [0], []
    for gap in (*GAPS, GAPS[-1]):
        dues.append((visit(*map(case, days)).due - DAY).days - days[-1])
        day += gap
        days.append(day)
    assert dues == [*GAPS, GAPS[-1]]
    # a case before it is due changes nothing
    assert visit(case(0), case(1), case(3)).due == visit(case(0), case(1)).due


def test_a_pair_that_is_mixed_up_brings_the_review_forward_until_it_is_told_apart():
    passed = (case(0), case(1), case(8))
    assert visit(*passed).due == DAY + timedelta(days=38)
    mixed = (*passed, case(9, points=WRONG))
    assert visit(*mixed).due == DAY + timedelta(days=10)
    assert visit(*mixed, case(10)).due == DAY + timedelta(days=11)
    apart = visit(*mixed, case(10), case(11))
    assert (apart.due, apart.passes) == (DAY + timedelta(days=38), 3)


def test_the_keys_of_every_case_are_those_that_are_asked():
    asked = [[item.key for item in case_items(draw_case(seed, level))] for seed in range(2) for level in (1, 2, 3, 4)]
    assert all([key for key in keys if key != "21.defeated"] == list(IN_EVERY_CASE) for keys in asked)


# The map ------------------------------------------------------------------------------------------------------------


def html_of(box):
    return "".join(child.value for child in box.children[1:])


def test_the_map_lists_every_lesson_with_its_minutes(tmp_path):
    page = html_of(course_map(Record(tmp_path)))
    assert f"Go on with <a class='gp-lesson-link' href='{LESSONS[0].file}'>" in page
    table = ElementTree.fromstring(page[page.index("<table") : page.index("</table>") + len("</table>")])
    rows = table.findall("./tbody/tr")
    assert [row.find("./th/a").attrib["href"] for row in rows] == [one.file for one in MAPPED]
    assert [row.find("./td").text for row in rows] == [str(one.minutes) for one in MAPPED]
    assert table.find("./tfoot/tr/td").text == str(sum(one.minutes for one in MAPPED))
    assert page.count("not begun") == len(MAPPED) == len(LESSONS) + 1


def test_the_map_shows_what_is_mastered_begun_and_due():
    standings = standings_of([])
    standings["02"] = standing(rounds(0), "02", ITEMS)
    standings["03"] = standing(answered((0, "02.a", 0.5), lesson="03"), "03", ITEMS)
    standings[VISIT.number] = visit(case(0), case(1))
    page = map_html(standings, DAY + timedelta(days=1))
    assert "mastered, 3 of 3 asked, 100%" in page
    assert "begun, 1 of 3 asked, 17%" in page
    assert "due today" in page
    assert f"2 of {len(MAPPED)} mastered" in page
    assert "mastered, last case: 7 of 7 asked, 100%" in page
    assert "in 7 days" in page
    assert "<td>1 due</td>" in page


def test_a_case_that_is_due_is_where_to_go_on(tmp_path):
    record = Record(tmp_path)
    for one in case(0):
        record.append(one.attempt)
    (due,) = [one for one in standings_of(record.attempts()).values() if one.due]
    assert due.lesson == VISIT.number
    said = advice_html(go_on(record.attempts(), {VISIT.number: due}, due.due), {VISIT.number: due})
    assert f"href='{VISIT.file}'" in said
    assert "one more case" in said


def test_only_the_learner_s_own_answers_count(tmp_path):
    record = Record(tmp_path)
    item = items_of("01")[0]
    record.set_learner("A")
    record.append(Attempt("A", "1", "01", item.key, "h", "o", 7, 0, 1.0, 1.0, 5.0))
    assert f"question 2 of {len(items_of('01'))}" in html_of(course_map(record))
    record.set_learner("B")
    assert "question 2" not in html_of(course_map(record))


def test_a_record_that_cannot_be_read_is_told_and_the_lessons_still_stand(tmp_path):
    (tmp_path / "record.sqlite3").write_bytes(b"no database" * 100)
    page = html_of(course_map(Record(tmp_path)))
    assert "role='alert'" in page
    # and where to go on, and the page for a fault at hand
    assert page.count("gp-lesson-link") == len(MAPPED) + 2


def test_an_unknown_lesson_is_refused_in_words():
    assert lesson("00").title == "Start here"
    with pytest.raises(CourseError, match="two digits"):
        lesson("99")
