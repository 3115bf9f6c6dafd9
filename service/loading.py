"""What the service and the commands judge with: rulebooks and catalogue as the settings name them."""

from __future__ import annotations

from rules.assessor import Assessor
from service.settings import Settings
from service.timed_engine import TimedEngine

__all__ = ["load_assessor"]


def load_assessor(settings: Settings | None = None) -> Assessor:
    """Load rulebooks and catalogue; raises what :meth:`rules.assessor.Assessor.load` raises."""
    settings = settings or Settings()
    assessor = Assessor.load(settings.extra_rulebooks, settings.catalogue)
    assessor.engine = TimedEngine(assessor.engine)
    return assessor
