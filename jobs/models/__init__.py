"""The work's tables: procedures as written, jobs as they run, and what was seen on the way."""

from jobs.models.ending import CarTaken, FinalLook, NotDone
from jobs.models.evidence import Advisory, DueService, FluidSample, Reading
from jobs.models.job import Draw, Finer, Job, JobPhoto, Line, LineKind, Operation, Stage, StageChange
from jobs.models.procedures import (
    AppliesTo,
    Component,
    FluidKind,
    Procedure,
    ProcedureNeed,
    ProcedureRevision,
    ProcedureStep,
)
from jobs.models.steps import JobStep, SkippedAnswer, StepEvent

__all__ = [
    "Advisory",
    "AppliesTo",
    "CarTaken",
    "Component",
    "Draw",
    "DueService",
    "FinalLook",
    "Finer",
    "FluidKind",
    "FluidSample",
    "Job",
    "JobPhoto",
    "JobStep",
    "Line",
    "LineKind",
    "NotDone",
    "Operation",
    "Procedure",
    "ProcedureNeed",
    "ProcedureRevision",
    "ProcedureStep",
    "Reading",
    "SkippedAnswer",
    "Stage",
    "StageChange",
    "StepEvent",
]
