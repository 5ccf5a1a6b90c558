"""Two kinds of question whose answers are all in sight: putting things in order, and choosing one.

The questions, how their answers are read, and the credit of an order; `questions.grade` makes the grade of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from random import Random
from typing import TYPE_CHECKING, Any, Literal

from toolkit.errors import AnswerError, ScenarioError
from toolkit.trace import Trace

if TYPE_CHECKING:
    from toolkit.figures.chart import Picture

Scoring = Literal["tau", "share"]
# What the first and the last place are called where the question does not say: set points rise, a visit goes on.
ENDS: dict[Scoring, tuple[str, str]] = {"tau": ("lowest", "highest"), "share": ("first", "last")}
DECIDES = "The operator's written procedure decides each step."
# Two entries that are not shown in the right order are shown in the wrong one, which tells the answer.
FEWEST = 3
# More options than these are searched through, not weighed against each other.
MOST_OPTIONS = 6


@dataclass(frozen=True)
class OrderQuestion:
    """Things are put in order.

    `entries` are the texts in the RIGHT order, three or more, no two alike; wherever an entry is named by a number it
    is its index here, 0 the first. `shown` is the order in which they are offered (see `shown_order`), never the right
    one. An answer is the entries' indices in the learner's order: (0, 1, 2, ...) is right, whatever `shown` is.

    `scoring` says of which pairs of entries the credit is the share that stands in the right order, 0 to 1:
    "tau", all pairs, which is (Kendall's rank correlation tau + 1)/2 (source: `kendall-1938`);
    "share", the pairs that are neighbours in the right order, the earlier anywhere before the later.

    `critical` are pairs (earlier, later) of entries. An answer that inverts one or more of them gets no more than `cap`
    (0.4 where a layer would act out of turn, 0 where a safety step would come too late), and the feedback says the
    pair's words in `reasons`: whole sentences, one for each pair. `ends` names the first and the last place, else ENDS.
    Raises ScenarioError, which names the field.

    Example::

        entries = ("worker's set point", "monitor's set point", "relief's start", "slam-shut's trip")
        OrderQuestion(
            key,
            "Put the set points in order, the lowest first.",
            entries,
            shown_order(len(entries), chance),
            critical=((0, 1),),
            cap=0.4,
            scoring="tau",
            explanation="Each layer acts only once the one below it has failed.",
            reasons=("A monitor set at or below its worker takes the pressure over with nothing wrong.",),
        )
    """

    key: str
    prompt: str
    entries: tuple[str, ...]
    shown: tuple[int, ...]
    critical: tuple[tuple[int, int], ...]
    cap: float
    scoring: Scoring
    explanation: str
    reasons: tuple[str, ...] = ()
    ends: tuple[str, str] | None = None

    def __post_init__(self) -> None:
        right = tuple(range(len(self.entries)))
        if len(right) < FEWEST or len(set(self.entries)) < len(right):
            raise ScenarioError("entries", self.entries, f"{FEWEST} texts or more, no two alike", "Reword or add some.")
        if tuple(sorted(self.shown)) != right or tuple(self.shown) == right:
            expected = f"the numbers 0 to {right[-1]}, each once and not in this order"
            raise ScenarioError("shown", self.shown, expected, "Draw it with shown_order.")
        for earlier, later in self.critical:
            if not 0 <= earlier < later <= right[-1]:
                expected = f"pairs (earlier, later) of numbers from 0 to {right[-1]}"
                raise ScenarioError("critical", (earlier, later), expected, "Count the entries in the right order.")
        if len(self.reasons) != len(self.critical):
            expected = f"one sentence for each of {len(self.critical)} critical pairs"
            raise ScenarioError("reasons", self.reasons, expected, "Say why each of them matters.")
        if self.scoring not in ENDS:
            raise ScenarioError("scoring", self.scoring, "one of " + ", ".join(ENDS), "Choose one of these.")
        if not 0.0 <= self.cap <= 1.0:
            raise ScenarioError("cap", self.cap, "a credit from 0 to 1", "Give a number in that range.")

    def places(self) -> tuple[str, ...]:
        """The places' names: "1 (lowest)", "2", "3 (highest)"."""
        first, last = self.ends or ENDS[self.scoring]
        names = [str(place + 1) for place in range(len(self.entries))]
        return (f"{names[0]} ({first})", *names[1:-1], f"{names[-1]} ({last})")

    def pairs(self) -> tuple[tuple[int, int], ...]:
        """The pairs (earlier, later) of entries that the credit is made of."""
        right = range(len(self.entries))
        return tuple(combinations(right, 2) if self.scoring == "tau" else pairwise(right))


@dataclass(frozen=True)
class ChoiceQuestion:
    """One of two to six `options` is chosen: 1 for the one at index `right`, 0 for another.

    The options are offered in the order given; a maker shuffles them with its seed. `told` says of each option what is
    wrong with it, or why it is right; the learner reads that of the option chosen, then `explanation`.
    `picture` and `table` (first row the heading) show what is to be judged. Where `traces` is given, one for each
    option and None where there is none to show, the run of a wrong choice is replayed beside that of the right one.
    An answer is the option's index. Raises ScenarioError, which names the field.

    Example::

        options = ["the slam-shut", "the monitor", "neither"]
        chance.shuffle(options)
        told = {
            "the slam-shut": "It senses upstream of the closed valve, so it never feels the rise.",
            "the monitor": "It has a sensing line of its own, downstream, and holds.",
            "neither": "One of the two no longer feels the outlet.",
        }
        ChoiceQuestion(
            key,
            "Which layer is defeated?",
            tuple(options),
            options.index("the slam-shut"),
            tuple(told[option] for option in options),
            "A layer guards only the place that it senses.",
        )
    """

    key: str
    prompt: str
    options: tuple[str, ...]
    right: int
    told: tuple[str, ...]
    explanation: str
    picture: Picture | None = None
    table: tuple[tuple[str, ...], ...] | None = None
    # Traces are arrays, of which == gives no yes or no; `item_hash` tells two questions apart by their runs.
    traces: tuple[Trace | None, ...] = field(default=(), compare=False)
    units: str = "us"

    def __post_init__(self) -> None:
        count = len(self.options)
        if not 2 <= count <= MOST_OPTIONS or len(set(self.options)) < count:
            expected = f"2 to {MOST_OPTIONS} texts, no two alike"
            raise ScenarioError("options", self.options, expected, "Reword, add or drop some.")
        if not 0 <= self.right < count:
            raise ScenarioError("right", self.right, f"an index from 0 to {count - 1}", "Count the options from 0.")
        if len(self.told) != count or not all(self.told):
            raise ScenarioError("told", self.told, f"a sentence for each of {count} options", "Say why of each.")
        if self.traces and (len(self.traces) != count or self.traces[self.right] is None):
            expected = f"a trace or None for each of {count} options, a trace for the right one"
            raise ScenarioError("traces", len(self.traces), expected, "Give them in the options' order, or none.")


def shown_order(count: int, chance: Random) -> tuple[int, ...]:
    """Draw an order in which to show `count` entries (2 or more): any but the right one, each as likely."""
    right = list(range(count))
    order = right[:]
    while order == right:
        chance.shuffle(order)
    return tuple(order)


def safe_steps(
    key: str,
    prompt: str,
    steps: tuple[str, ...],
    before: Mapping[tuple[int, int], str],
    explanation: str,
    chance: Random,
) -> OrderQuestion:
    """Steps of work to put in order: a safety step out of place earns nothing.

    `steps` in the right order; `before` gives, for pairs (earlier, later) of them that must not be turned round, the
    reason. Draws from `chance` the order in which they are shown.
    """
    return OrderQuestion(
        key,
        prompt,
        steps,
        shown_order(len(steps), chance),
        critical=tuple(before),
        cap=0.0,
        scoring="share",
        explanation=f"{explanation} {DECIDES}",
        reasons=tuple(before.values()),
    )


def inverted(pairs: Sequence[tuple[int, int]], order: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Those of the pairs (earlier, later) whose later entry stands before the earlier one in `order`."""
    place = {entry: index for index, entry in enumerate(order)}
    return tuple((earlier, later) for earlier, later in pairs if place[later] < place[earlier])


def plain_credit(question: OrderQuestion, order: Sequence[int]) -> float:
    """Share of the question's pairs that stand in the right order, 0 to 1, before any cap."""
    pairs = question.pairs()
    return 1.0 - len(inverted(pairs, order)) / len(pairs)


def order_credit(question: OrderQuestion, order: Sequence[int]) -> float:
    """Credit of an order, 0 to 1: the plain credit, and no more than the cap where a critical pair is inverted."""
    plain = plain_credit(question, order)
    return min(plain, question.cap) if inverted(question.critical, order) else plain


def still_open(question: OrderQuestion, chosen: Sequence[int | None]) -> str:
    """What is left to do before an order can be graded, in sentences; nothing if every entry has its place.

    `chosen` is the entry at each place, None where none is chosen yet.
    """
    if all(entry is None for entry in chosen):
        return "No place is filled yet."
    empty = [str(place + 1) for place, entry in enumerate(chosen) if entry is None]
    twice = [question.entries[entry] for entry in question.shown if chosen.count(entry) > 1]
    missing = [question.entries[entry] for entry in question.shown if entry not in chosen]
    said = []
    if empty:
        said.append(("Empty place: " if len(empty) == 1 else "Empty places: ") + ", ".join(empty) + ".")
    if twice:
        said.append("Named more than once: " + "; ".join(twice) + ".")
    if missing:
        said.append("Not placed yet: " + "; ".join(missing) + ".")
    return " ".join(said)


def read_order(question: OrderQuestion, answer: Any) -> tuple[int, ...]:
    """The entries' indices in the learner's order; AnswerError if they are not each entry once."""
    count = len(question.entries)
    chosen = list(answer) if isinstance(answer, Sequence) and not isinstance(answer, str) else []
    if len(chosen) != count or any(one is not None and not _is_index(one, count) for one in chosen):
        raise AnswerError(
            f"{str(answer)[:40]!r} was given, an order of the entries 0 to {count - 1} was expected. "
            "Choose one entry for each place."
        )
    left = still_open(question, chosen)
    if left:
        raise AnswerError(f"{left} Each of {count} entries was expected in a place of its own. Change those places.")
    return tuple(chosen)


def read_choice(question: ChoiceQuestion, answer: Any) -> int:
    """The index of the option chosen; AnswerError if it is none."""
    count = len(question.options)
    if answer is None:
        raise AnswerError(f"Nothing is chosen yet, one of {count} answers was expected. Choose one.")
    if not _is_index(answer, count):
        raise AnswerError(f"{str(answer)[:40]!r} was given, a number from 0 to {count - 1} was expected. Choose one.")
    return int(answer)


def order_verdict(question: OrderQuestion, order: Sequence[int]) -> str:
    """The verdict in a few words: the credit and what it is the share of."""
    pairs = question.pairs()
    wrong = len(inverted(pairs, order))
    if not wrong:
        return "Right."
    which = "pairs" if question.scoring == "tau" else "neighbouring pairs"
    right = f"{len(pairs) - wrong} of {len(pairs)} {which} in the right order"
    return f"{order_credit(question, order):.2f} of 1: {right}."


def order_explained(question: OrderQuestion, order: Sequence[int]) -> tuple[str, ...]:
    """Why this credit, in sentences: each critical pair out of turn with its reason, the cap, the explanation."""
    said = []
    turned = inverted(question.critical, order)
    for pair, reason in zip(question.critical, question.reasons, strict=True):
        if pair in turned:
            earlier, later = (question.entries[entry] for entry in pair)
            said.append(f"You put \u201c{later}\u201d before \u201c{earlier}\u201d. {reason}")
    if turned and plain_credit(question, order) > question.cap:
        said.append(f"Whatever else is in order, this earns no more than {question.cap:.2f} of 1.")
    return (*said, question.explanation)


def order_table(question: OrderQuestion, order: Sequence[int]) -> tuple[tuple[str, ...], ...]:
    """The learner's order beside the right one, the first row the heading; in words, place by place."""
    rows = (
        (name, question.entries[entry], "in place" if entry == place else f"belongs at {entry + 1}", right)
        for place, (name, entry, right) in enumerate(zip(question.places(), order, question.entries, strict=True))
    )
    return (("Place", "Your order", "Yours is", "Right order"), *rows)


def _is_index(value: object, count: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < count
