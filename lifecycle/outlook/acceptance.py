"""How often advice is taken up, per care task, with honest small numbers.

Beta-binomial: a task's rate has the prior Beta(m K, (1 - m) K), where m is the studio's mean over all tasks and K says
how many decisions that prior is worth; the task's own decisions are added to it. With few decisions the rate therefore
leans on the studio's mean, and says so. No Django in here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

# Judgement: before anything is known, two of five pieces of advice are taken up, and that is worth five decisions.
STUDIO_PRIOR = (2.0, 3.0)
# Judgement: the studio's mean is worth ten decisions of a task, until the tasks themselves show how alike they are.
POOL_WEIGHT = 10.0
POOL_WEIGHTS = (4.0, 6.0, 10.0, 16.0, 25.0, 40.0)
FEW_DECISIONS = 20


@dataclass(frozen=True, slots=True)
class Decisions:
    """What became of the offers of one task. `unanswered`: offered, and expired without a word."""

    accepted: int = 0
    declined: int = 0
    unanswered: int = 0

    @property
    def asked(self) -> int:
        return self.accepted + self.declined + self.unanswered

    @property
    def not_taken(self) -> int:
        return self.declined + self.unanswered


@dataclass(frozen=True, slots=True)
class Rate:
    """A take-up rate as a Beta distribution, with its counts. `p10` and `p90` bound the middle 80 %."""

    task: str
    decisions: Decisions
    a: float
    b: float
    mean: float
    sd: float
    p10: float
    p90: float
    leans: bool
    says: str


def beta_mean(a: float, b: float) -> float:
    """Mean of Beta(a, b)."""
    return a / (a + b)


def beta_sd(a: float, b: float) -> float:
    """Standard deviation of Beta(a, b)."""
    total = a + b
    return math.sqrt(a * b / (total * total * (total + 1.0)))


def beta_quantile(chance: float, a: float, b: float) -> float:
    """The value below which Beta(a, b) lies with `chance`."""
    from scipy.special import betaincinv

    return float(betaincinv(a, b, chance))


def log_beta_binomial(taken: int, asked: int, a: float, b: float) -> float:
    """ln P(`taken` of `asked`) where the rate is Beta(a, b)."""
    return (
        math.lgamma(asked + 1)
        - math.lgamma(taken + 1)
        - math.lgamma(asked - taken + 1)
        + math.lgamma(taken + a)
        + math.lgamma(asked - taken + b)
        - math.lgamma(asked + a + b)
        + math.lgamma(a + b)
        - math.lgamma(a)
        - math.lgamma(b)
    )


def studio_mean(counts: Sequence[Decisions]) -> float:
    """The studio's mean rate over all tasks, a weak prior included."""
    a, b = STUDIO_PRIOR
    return beta_mean(a + sum(c.accepted for c in counts), b + sum(c.not_taken for c in counts))


def pool_weight(counts: Sequence[Decisions], mean: float) -> float:
    """How many decisions the studio's mean is worth: the weight under which the tasks' counts are likeliest.

    Needs four tasks with five decisions each; before that the default `POOL_WEIGHT` holds.
    """
    telling = [c for c in counts if c.asked >= 5]
    if len(telling) < 4:
        return POOL_WEIGHT

    def fit(weight: float) -> float:
        a, b = mean * weight, (1.0 - mean) * weight
        return sum(log_beta_binomial(c.accepted, c.asked, a, b) for c in telling)

    return max(POOL_WEIGHTS, key=fit)


def rate(task: str, decisions: Decisions, *, prior_a: float, prior_b: float) -> Rate:
    """The rate of one task from its prior and its own decisions.

    Raises:
        ValueError: if a prior parameter is not positive or a count is negative.
    """
    if prior_a <= 0 or prior_b <= 0:
        raise ValueError(f"The prior of {task!r} is Beta({prior_a}, {prior_b}); both must be above 0.")
    if min(decisions.accepted, decisions.declined, decisions.unanswered) < 0:
        raise ValueError(f"The counts of {task!r} are {decisions}; none may be below 0.")
    a, b = prior_a + decisions.accepted, prior_b + decisions.not_taken
    leans = decisions.asked < FEW_DECISIONS
    return Rate(
        task=task,
        decisions=decisions,
        a=a,
        b=b,
        mean=beta_mean(a, b),
        sd=beta_sd(a, b),
        p10=beta_quantile(0.1, a, b),
        p90=beta_quantile(0.9, a, b),
        leans=leans,
        says=_says(decisions, leans),
    )


def _says(decisions: Decisions, leans: bool) -> str:
    if decisions.asked == 0:
        return "Nobody has decided yet: the studio's mean stands in."
    counted = f"{decisions.accepted} of {decisions.asked} taken up"
    if decisions.unanswered:
        counted += f", {decisions.unanswered} never answered"
    if leans:
        return f"{counted}; under {FEW_DECISIONS} decisions, so it leans on the studio's mean."
    return f"{counted}."


def rates(counts: Mapping[str, Decisions], *, tasks: Iterable[str] = ()) -> dict[str, Rate]:
    """The rate of every task in `counts` and `tasks`, each leaning on the studio's mean by its own small number."""
    known = list(counts.values())
    mean = studio_mean(known)
    weight = pool_weight(known, mean)
    a, b = mean * weight, (1.0 - mean) * weight
    return {task: rate(task, counts.get(task, Decisions()), prior_a=a, prior_b=b) for task in sorted({*counts, *tasks})}


def of_answers(counts: Mapping[str, Decisions], *, tasks: Iterable[str] = ()) -> dict[str, Rate]:
    """The rate of every task among those who answered: for whom comes, and not for whom is merely asked.

    Silence counts for nothing here, since the chance of a visit (`worth`) holds it already.
    """
    spoken = {task: replace(found, unanswered=0) for task, found in counts.items()}
    silent = {task: found.unanswered for task, found in counts.items()}
    return {
        task: replace(found, says=_answers_say(found, silent.get(task, 0)))
        for task, found in rates(spoken, tasks=tasks).items()
    }


def _answers_say(found: Rate, silent: int) -> str:
    answers = found.decisions.asked
    said = f"{found.decisions.accepted} of {answers} answers were a yes" if answers else "nobody has answered yet"
    if silent:
        said += f", {silent} never answered and are left out"
    if answers == 0:
        return f"{said}: the studio's mean stands in"
    return f"{said}; under {FEW_DECISIONS} answers, so it leans on the studio's mean" if found.leans else said


@dataclass(frozen=True, slots=True)
class Group:
    """Decisions of one task in one group, a site or a reason."""

    task: str
    group: str
    rate: Rate


def grouped(counts: Mapping[tuple[str, str], Decisions]) -> tuple[Group, ...]:
    """Rates of every task in every group, pooled twice: a group leans on its task, the task on the studio.

    A group's prior is its task's rate without the group itself, so that no decision counts twice; how many decisions
    that prior is worth is fitted to how alike the groups are (`pool_weight`).

    Args:
        counts: by (task, group).
    """
    by_task: dict[str, dict[str, Decisions]] = {}
    for (task, group), found in counts.items():
        by_task.setdefault(task, {})[group] = found
    totals = {task: total(groups.values()) for task, groups in by_task.items()}
    mean = studio_mean(list(totals.values()))
    weight = pool_weight(list(totals.values()), mean)
    rows: list[Group] = []
    for task, groups in sorted(by_task.items()):
        own = rate(task, totals[task], prior_a=mean * weight, prior_b=(1.0 - mean) * weight)
        # A care with one group has nothing elsewhere to lean on: it leans as the care itself does.
        worth = pool_weight(list(groups.values()), own.mean) if len(groups) > 1 else weight
        for group, found in sorted(groups.items()):
            without = minus(totals[task], found)
            others = rate(task, without, prior_a=mean * weight, prior_b=(1.0 - mean) * weight).mean
            one = rate(task, found, prior_a=others * worth, prior_b=(1.0 - others) * worth)
            rows.append(Group(task, group, replace(one, says=_group_says(found, one.leans))))
    return tuple(rows)


def _group_says(found: Decisions, leans: bool) -> str:
    if not leans:
        return _says(found, leans)
    if found.asked == 0:
        return "Nobody has decided yet: the mean of this care, and through it the studio's mean, stands in."
    counted = _says(found, leans=False).rstrip(".")
    return f"{counted}; under {FEW_DECISIONS} decisions, so it leans on this care elsewhere and on the studio's mean."


def total(counts: Iterable[Decisions]) -> Decisions:
    """All decisions together."""
    rows = list(counts)
    return Decisions(
        accepted=sum(one.accepted for one in rows),
        declined=sum(one.declined for one in rows),
        unanswered=sum(one.unanswered for one in rows),
    )


def minus(whole: Decisions, part: Decisions) -> Decisions:
    """The decisions of `whole` that are not in `part`."""
    return Decisions(whole.accepted - part.accepted, whole.declined - part.declined, whole.unanswered - part.unanswered)
