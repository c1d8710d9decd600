"""What a table of times and volts from an oscilloscope tells."""

from stagefx.bench.scope.reading import Edge, ScopeReading
from stagefx.bench.scope.tables import ScopeError, Trace, load_trace, read_trace
from stagefx.bench.scope.telling import read_scope

__all__ = [
    "Edge",
    "ScopeError",
    "ScopeReading",
    "Trace",
    "load_trace",
    "read_scope",
    "read_trace",
]
