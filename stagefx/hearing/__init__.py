"""Would it be heard: thresholds, the ledger, the grades, the verdict."""

from stagefx.hearing.captured import compare_captured
from stagefx.hearing.compare import compare_files, compare_recordings, compare_stages
from stagefx.hearing.comparison import Comparison
from stagefx.hearing.grades import Grade
from stagefx.hearing.ledger import LedgerRow
from stagefx.hearing.level_at_ear import LevelAtEar
from stagefx.hearing.verdict import Verdict

__all__ = [
    "Comparison",
    "Grade",
    "LedgerRow",
    "LevelAtEar",
    "Verdict",
    "compare_captured",
    "compare_files",
    "compare_recordings",
    "compare_stages",
]
