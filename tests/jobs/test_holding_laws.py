"""A law of the bay: in whatever order people act, nothing that must be done first is passed over."""

import uuid
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from garage.clock import fixed
from garage.errors import Refused
from jobs.actions.final_look import take_final_look
from jobs.actions.finishing import finish_job
from jobs.actions.intake import Odometer
from jobs.actions.not_done import reopen_not_done
from jobs.actions.steps import act
from jobs.models import JobStep
from jobs.promises import acts_match_steps, finished_work_is_done
from tests.jobs.bay_cast import PROCEDURE, Bay, in_bay

#: Four steps: a hold point, a plug that the filling needs, the filling, an ordinary look.
LAW = """
procedure: Oil, change
component: Engine
hours: 1
steps:
  - {title: Raised and supported, hold point: yes}
  - {title: Tighten the drain plug, name: plug}
  - {title: Fill, needs: [plug]}
  - {title: Look for leaks}
"""
ACTS = st.tuples(
    st.sampled_from(["tick"] * 6 + ["untick", "untick", "skip", "cannot", "confirm", "reopen", "leave", "leave"]),
    st.sampled_from([0, 0, 0, 1, 2, 3, 4]),  # 0: the step to do next
    st.sampled_from([0, 0, 0, 1]),  # how many acts ago the step was seen
)
DONE = [("tick", 0, 0)] * 4
pytestmark = pytest.mark.timeout(300)  # real work; a busy runner is slow
LONG = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def bay(shop, people, now) -> Bay:
    return in_bay(people, now, LAW + PROCEDURE[PROCEDURE.index("needs:") : PROCEDURE.index("steps:")])


def settled(step: JobStep) -> bool:
    return step.state == "done" and not step.again


def must_come_first(steps: list[JobStep], number: int) -> list[JobStep]:
    """Written anew, from the file above: the hold point before all, the plug before the filling."""
    first = {2: [1], 3: [1, 2], 4: [1]}.get(number, [])
    return [step for step in steps if step.position in first]


def do(bay: Bay, people: Any, kind: str, number: int, behind: int) -> None:
    who: dict[str, Any] = {"actor": bay.technician, "clock": fixed(bay.now)}
    if kind == "leave":
        take_final_look(job=bay.job, **who)
        finish_job(job=bay.job, odometer_out=Odometer(88412, "mi"), **who)
    elif kind == "reopen":
        reopen_not_done(operation=bay.operation, reason="tried again", **who)
    else:
        left = (step for step in bay.operation.steps.order_by("position") if not settled(step))
        step = bay.step(number) if number else next(left, bay.step(4))
        act(
            event_id=uuid.uuid4(),
            step=step,
            kind=kind,
            base_version=max(step.version - behind, 0),
            data={"reason": "as it was"},
            confirmed_by=people["owner"] if kind == "confirm" else None,
            **who,
        )


@LONG
@example([*DONE, ("leave", 0, 0)])
@example([*DONE, ("untick", 1, 0), ("leave", 0, 0), ("tick", 1, 0), ("tick", 3, 0), ("tick", 2, 0), ("leave", 0, 0)])
@example([("tick", 1, 0), ("tick", 3, 0), ("cannot", 2, 0), ("leave", 0, 0)])
@given(st.lists(ACTS, min_size=4, max_size=24))
def test_no_order_of_acts_passes_over_what_must_be_done_first(
    bay: Bay, people, acts: list[tuple[str, int, int]]
) -> None:
    with transaction.atomic():
        for kind, number, behind in acts:
            before = {step.position: step for step in bay.operation.steps.order_by("position")}
            try:
                with transaction.atomic():
                    do(bay, people, kind, number, behind)
            except Refused:
                continue
            steps = list(bay.operation.steps.order_by("position"))
            for step in steps:
                if settled(step) and not settled(before[step.position]):
                    assert all(settled(other) for other in must_come_first(steps, step.position)), (kind, step)
                assert step.state != "skipped" or step.position in (3, 4), "what others stand on is never skipped"
            bay.job.refresh_from_db()
            bay.operation.refresh_from_db()
            if bay.job.stage == "finished":
                ended = bay.operation.not_done_id is not None
                assert ended or all(settled(step) or step.state == "skipped" for step in steps)
                assert bay.job.final_looks.exists()
                break
        assert not [*acts_match_steps(), *finished_work_is_done()]
        transaction.set_rollback(True)
