"""The logger's file against what was promised: what is lost, to what, and what to do."""

from solarcalc.followup.answer import (
    FOLLOWUP_ASSUMPTIONS,
    FOLLOWUP_CAUTION,
    FollowUp,
    follow_up,
    followup_advice,
    followup_answer,
    followup_rows,
    followup_values,
    followup_verdicts,
    judge,
    loss_rows,
)
from solarcalc.followup.finding import Finding
from solarcalc.followup.logger import LoggerData, read_logger

__all__ = [
    "FOLLOWUP_ASSUMPTIONS",
    "FOLLOWUP_CAUTION",
    "Finding",
    "FollowUp",
    "LoggerData",
    "follow_up",
    "followup_advice",
    "followup_answer",
    "followup_rows",
    "followup_values",
    "followup_verdicts",
    "judge",
    "loss_rows",
    "read_logger",
]
