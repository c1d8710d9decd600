"""What happens seldom between two versions: clicks, dropouts, bursts of clipping."""

from stagefx.hearing.events.account import EventAccount
from stagefx.hearing.events.meter import EventMeter, excess_of

__all__ = ["EventAccount", "EventMeter", "excess_of"]
