"""The one thing to be done next with a job at each stage, and the page where it is done.

The pages of the papers are named by their address only: no import points up.
"""

from jobs.models import Stage

NEXT_ACT = {
    Stage.WRITTEN_UP: ("Write estimate", "jobs:sheet"),
    Stage.AWAITING: ("Record authorization", "invoicing:authorize"),
    Stage.READY: ("Start work", "jobs:sheet"),
    Stage.IN_BAY: ("Open steps", "jobs:bay-job"),
    Stage.FINISHED: ("Make invoice", "invoicing:invoice-make"),
    Stage.INVOICED: ("Record payment", "invoicing:invoice-make"),
}
